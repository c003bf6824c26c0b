/* What differs between compilers, and nothing else.  No header of any chip is needed here. */
#ifndef METERLINK_COMPILER_H
#define METERLINK_COMPILER_H

/* Constant tables stay in flash on an AVR (a named address space of avr-gcc) instead of taking RAM. */
#ifdef __AVR__
#define ML_FLASH __flash
#else
#define ML_FLASH
#endif

/* The work of the sampling interrupt must become part of it: a call would cost more than the work. */
#define ML_INLINE static inline __attribute__((always_inline))

#endif
