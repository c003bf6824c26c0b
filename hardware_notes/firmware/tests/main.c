/* Runs all tests of the core: test_core PATH_OF_vectors.txt.  Ends with 1 if any check failed. */
#include <stdio.h>
#include <string.h>

#include "check.h"

static long checks;
static long failures;

bool check(bool passed, char const *file, int line, char const *what) {
    checks++;
    if (!passed && ++failures <= 40) printf("%s:%d: not so: %s\n", file, line, what);
    return passed;
}

bool check_equal(long long wanted, long long got, char const *file, int line, char const *what) {
    checks++;
    if (wanted != got && ++failures <= 40) printf("%s:%d: %s is %lld, not %lld\n", file, line, what, got, wanted);
    return wanted == got;
}

uint32_t random_u32(uint64_t *state) {
    uint64_t z = (*state += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return (uint32_t)(z >> 32);
}

size_t reference_frame(uint8_t const *message, size_t length, uint8_t *out) {
    static uint8_t whole[70000];
    uint32_t crc = 0xFFFFFFFFU;
    for (size_t i = 0; i < length; i++) { /* a bit at a time */
        crc ^= message[i];
        for (int bit = 0; bit < 8; bit++) crc = (crc >> 1) ^ ((crc & 1) ? 0xEDB88320U : 0);
    }
    crc = ~crc;
    memcpy(whole, message, length);
    for (int i = 0; i < 4; i++) whole[length + (size_t)i] = (uint8_t)(crc >> (8 * i));
    length += 4;
    uint8_t *code = out;
    uint8_t *at = out + 1;
    for (size_t i = 0; i < length; i++) {
        if (whole[i] != 0) *at++ = whole[i];
        bool const full = at - code == 255;
        if (whole[i] == 0 || (full && i + 1 < length)) {
            *code = (uint8_t)(at - code);
            code = at++;
        }
    }
    *code = (uint8_t)(at - code);
    *at++ = 0;
    return (size_t)(at - out);
}

int main(int argc, char **argv) {
    if (argc != 2) {
        puts("test_core PATH_OF_vectors.txt");
        return 2;
    }
    test_vectors(argv[1]);
    test_receiver();
    test_writer();
    test_capture();
    test_device();
    printf("%ld checks, %ld failures\n", checks, failures);
    return failures == 0 ? 0 : 1;
}
