/* CRC-32/ISO-HDLC, a byte at a time.
 *
 * Two tables of 16 words, one for each half of a byte, take 128 bytes of flash and half the time of one table used
 * twice: the CRC is linear, so table[byte] = low[byte & 15] ^ high[byte >> 4]. */
#ifndef METERLINK_CRC32_H
#define METERLINK_CRC32_H

#include <stdint.h>

#define ML_CRC32_START 0xFFFFFFFFUL

/* The CRC after one more byte.  Begin with ML_CRC32_START; what goes over the line is the complement of the result. */
uint32_t ml_crc32_byte(uint32_t crc, uint8_t byte);

#endif
