/* CRC-32/ISO-HDLC, a byte at a time.
 *
 * Two tables of 16 words, one for each half of a byte, take 128 bytes of flash and half the time of one table used
 * twice: the CRC is linear, so table[byte] = low[byte & 15] ^ high[byte >> 4]. */
#ifndef METERLINK_CRC32_H
#define METERLINK_CRC32_H

#include <stdint.h>

#include "compiler.h"

#define ML_CRC32_START 0xFFFFFFFFUL

extern ML_FLASH uint32_t const ml_crc32_low[16];
extern ML_FLASH uint32_t const ml_crc32_high[16];

/* The CRC after one more byte.  Begin with ML_CRC32_START; what goes over the line is the complement of the result. */
ML_INLINE uint32_t ml_crc32_byte(uint32_t crc, uint8_t byte) {
    uint8_t const index = (uint8_t)(crc ^ byte);
    return (crc >> 8) ^ ml_crc32_low[index & 15] ^ ml_crc32_high[index >> 4];
}

#endif
