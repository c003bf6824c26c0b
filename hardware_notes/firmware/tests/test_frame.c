/* Receiver and writer beyond the vectors: every length, every split, garbage. */
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "receiver.h"
#include "writer.h"

#define LONGEST 1200

static uint8_t message[LONGEST], wanted[2 * LONGEST], made[2 * LONGEST], taken[LONGEST + 4];

static void fill(size_t length, int kind, uint64_t *state) {
    for (size_t i = 0; i < length; i++) {
        uint32_t const r = random_u32(state);
        message[i] = kind == 0 ? 0 : kind == 1 ? (uint8_t)(r % 255 + 1) : kind == 2 ? (uint8_t)r : r % 8 ? 0 : 7;
    }
    message[0] = 1; /* the version, or the receiver would be right to refuse it */
}

static size_t write_split(size_t length, size_t first, size_t second) {
    struct ml_writer w;
    size_t n = 0;
    ml_writer_init(&w);
    CHECK(!ml_writer_busy(&w));
    ml_writer_begin(&w, message, (uint16_t)first, message + first, (uint16_t)second, message + first + second,
                    (uint16_t)(length - first - second));
    CHECK(ml_writer_busy(&w));
    while (n < sizeof made && ml_writer_next(&w, made + n)) n++;
    CHECK(!ml_writer_busy(&w));
    return n;
}

/* Every length up to beyond four full groups, four kinds of content, pieces of any length: as the reference has it. */
static void every_length(void) {
    uint64_t state = 11;
    for (size_t length = 4; length <= LONGEST - 4; length++) {
        int const kind = (int)(length % 4);
        fill(length, kind, &state);
        size_t const first = random_u32(&state) % (length + 1);
        size_t const second = random_u32(&state) % (length - first + 1);
        size_t const n = reference_frame(message, length, wanted);
        CHECK_EQUAL(n, write_split(length, first, second));
        CHECK(memcmp(wanted, made, n) == 0);
        struct ml_receiver r;
        ml_receiver_init(&r, taken, sizeof taken);
        for (size_t i = 0; i + 1 < n; i++) CHECK(ml_receiver_take(&r, made[i]) == ML_NOTHING);
        CHECK_EQUAL(ML_MESSAGE, ml_receiver_take(&r, 0));
        CHECK_EQUAL(length, r.length);
        CHECK(memcmp(taken, message, length) == 0);
    }
}

/* Full groups and zeros just around them, where an encoder errs. */
static void around_full_groups(void) {
    for (size_t length = 240; length <= 520; length++) {
        for (size_t zero = 250; zero <= 258; zero++) {
            memset(message, 0x55, length);
            message[0] = 1;
            if (zero < length) message[zero] = 0;
            size_t const n = reference_frame(message, length, wanted);
            CHECK_EQUAL(n, write_split(length, length, 0));
            CHECK(memcmp(wanted, made, n) == 0);
        }
    }
}

/* A frame begun anew forgets the one under way. */
static void writer_restarts(void) {
    struct ml_writer w;
    uint8_t byte;
    uint64_t state = 3;
    fill(600, 2, &state);
    ml_writer_init(&w);
    ml_writer_begin(&w, message, 600, 0, 0, 0, 0);
    for (int i = 0; i < 300; i++) CHECK(ml_writer_next(&w, &byte));
    size_t const n = reference_frame(message, 40, wanted);
    ml_writer_begin(&w, message, 40, 0, 0, 0, 0);
    for (size_t i = 0; i < n; i++) {
        CHECK(ml_writer_next(&w, &byte));
        CHECK_EQUAL(wanted[i], byte);
    }
    CHECK(!ml_writer_next(&w, &byte));
}

/* A frame of exactly the buffer's length is taken, one byte more is refused, and the next is whole again. */
static void capacity(void) {
    uint64_t state = 5;
    struct ml_receiver r;
    uint8_t *const small = malloc(32); /* so that the sanitizer sees one byte beyond */
    ml_receiver_init(&r, small, 32);
    for (size_t length = 4; length <= 60; length++) {
        fill(length, 2, &state);
        size_t const n = reference_frame(message, length, wanted);
        enum ml_received last = ML_NOTHING;
        for (size_t i = 0; i < n; i++) last = ml_receiver_take(&r, wanted[i]);
        CHECK_EQUAL(length + 4 <= 32 ? ML_MESSAGE : ML_BAD_LENGTH, last);
    }
    free(small);
}

/* A million bytes of garbage, spliced with good frames and flipped bits: never out of bounds (the sanitizers watch),
 * every good frame after a 0x00 arrives, and no damaged one is taken for another message. */
static void garbage(void) {
    uint64_t state = 20240229;
    struct ml_receiver r;
    long good = 0, arrived = 0, believed = 0;
    ml_receiver_init(&r, taken, 64);
    for (long n = 0; n < 1000000;) {
        uint32_t const what = random_u32(&state);
        size_t length = 4 + random_u32(&state) % 57;
        fill(length, 2, &state);
        size_t frame_length = reference_frame(message, length, wanted);
        bool whole = true;
        if (what % 4 == 1) {
            wanted[random_u32(&state) % frame_length] ^= (uint8_t)(1 << (random_u32(&state) % 8));
            whole = false;
        } else if (what % 4 == 2) {
            frame_length = random_u32(&state) % (frame_length - 1); /* without its last byte it would still be whole */
            whole = false;
        } else if (what % 4 == 3) {
            for (size_t i = 0; i < frame_length; i++) wanted[i] = (uint8_t)random_u32(&state);
            whole = false;
        }
        if (whole) CHECK(ml_receiver_take(&r, 0) != ML_MESSAGE);
        good += whole;
        for (size_t i = 0; i < frame_length; i++) {
            if (ml_receiver_take(&r, wanted[i]) != ML_MESSAGE) continue;
            if (whole && i + 1 == frame_length) {
                arrived++;
                CHECK_EQUAL(length, r.length);
                CHECK(memcmp(taken, message, length) == 0);
            } else {
                believed++;
            }
        }
        n += (long)frame_length;
    }
    CHECK(good > 3000);
    CHECK_EQUAL(good, arrived);
    CHECK_EQUAL(0, believed); /* the seed is fixed; by chance it would be one in 2^32 */
}

void test_receiver(void) {
    capacity();
    garbage();
}

void test_writer(void) {
    every_length();
    around_full_groups();
    writer_restarts();
}
