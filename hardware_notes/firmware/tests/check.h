/* A few lines in place of a test framework. */
#ifndef METERLINK_CHECK_H
#define METERLINK_CHECK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Conversions, at factor 1, after which FILL is surely over. */
#define FILL_CONVERSIONS (128 + 24)

/* Count a check; when it fails, say where and what, and go on. */
#define CHECK(condition) check((condition), __FILE__, __LINE__, #condition)
#define CHECK_EQUAL(wanted, got) check_equal((long long)(wanted), (long long)(got), __FILE__, __LINE__, #got)

bool check(bool passed, char const *file, int line, char const *what);
bool check_equal(long long wanted, long long got, char const *file, int line, char const *what);

/* The same numbers in every run and on every machine. */
uint32_t random_u32(uint64_t *state);

/* COBS and CRC of a message, by code that shares nothing with the core; returns the bytes with the 0x00.  `out` holds
 * length + length / 254 + 7. */
size_t reference_frame(uint8_t const *message, size_t length, uint8_t *out);

void test_vectors(char const *path);
void test_receiver(void);
void test_writer(void);
void test_capture(void);
void test_device(void);

#endif
