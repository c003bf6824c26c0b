/* Trigger, ring and steady sums, fed one conversion at a time as the interrupt does. */
#include <string.h>

#include "capture.h"
#include "check.h"

#define CAPTURE_CONVERSIONS ((unsigned)(ML_STRETCHES * ML_STRETCH_SAMPLES(0)))

static struct ml_sensor s;

static void feed(unsigned code_10_bit, unsigned times) {
    while (times-- != 0) ml_sensor_take(&s, (uint16_t)(code_10_bit << 6));
}

static void start_armed(unsigned code_10_bit, uint8_t shift) {
    memset(&s, 0xA5, sizeof s); /* as RAM may be */
    ml_sensor_init(&s);
    ml_sensor_set_factor(&s, shift);
    ml_sensor_arm(&s);
    feed(code_10_bit, ML_SETTLE_CONVERSIONS);
    CHECK_EQUAL(ML_FILL, s.state);
    feed(code_10_bit, FILL_CONVERSIONS << shift);
    CHECK_EQUAL(ML_ARMED, s.state);
}

static uint8_t held(unsigned i) { return s.ring[(ml_sensor_oldest(&s) + i) & (ML_RING - 1)]; }

/* Off, nothing triggers, and the sums are exact. */
static void off_only_sums(void) {
    struct ml_window w;
    ml_sensor_init(&s);
    CHECK(!ml_sensor_take_window(&s, &w));
    feed(100, 1001);
    feed(1023, 3);
    feed(7, 500);
    CHECK_EQUAL(ML_OFF, s.state);
    CHECK(ml_sensor_take_window(&s, &w));
    CHECK_EQUAL(752, w.count); /* every second one */
    CHECK_EQUAL(500 * 100 + 2 * 1023 + 250 * 7, w.sum >> 6);
    CHECK_EQUAL(7, w.min >> 6);
    CHECK_EQUAL(1023, w.max >> 6);
    CHECK(!ml_sensor_take_window(&s, &w));
    feed(1023, 2 * 65535);
    CHECK(ml_sensor_take_window(&s, &w));
    CHECK_EQUAL(65535, w.count);
    CHECK_EQUAL(65535LL * 1023, w.sum >> 6);
}

/* A rise of the threshold triggers, one code less does not, at any baseline and any phase of its bookkeeping. */
static void threshold_is_exact(void) {
    for (unsigned base = 0; base <= 249; base += 3) {
        for (unsigned phase = 0; phase < 8; phase++) {
            start_armed(base * 4, 0);
            feed(base * 4, phase);
            feed((base + 5) * 4 + 3, 1);
            CHECK_EQUAL(ML_ARMED, s.state);
            feed((base + 6) * 4, 1);
            CHECK_EQUAL(ML_CAPTURE, s.state);
            CHECK_EQUAL(base, s.before);
        }
    }
}

/* Room light so bright that threshold and baseline together pass full scale: saturation is no pop. */
static void no_trigger_at_full_scale(void) {
    for (unsigned base = 250; base <= 255; base++) {
        start_armed(base * 4, 0);
        feed(1023, 2000);
        CHECK_EQUAL(ML_ARMED, s.state);
        CHECK_EQUAL(0, s.lost);
    }
}

/* Room light that rises and falls slowly is followed. */
static void slow_light_is_followed(void) {
    start_armed(20, 0);
    for (unsigned code = 20; code < 1000; code++) feed(code, 64); /* to nearly full scale in 0.8 s */
    for (unsigned code = 1000; code > 20; code--) feed(code, 16);
    CHECK_EQUAL(ML_ARMED, s.state);
}

/* Hum of 7.5 % of full scale peak to peak at 100 Hz, as a lamp on the mains has it, is no pop. */
static void hum_is_no_pop(void) {
    start_armed(400, 0);
    int value = 0, velocity = 0;
    for (int i = 0; i < 76923; i++) { /* a second of a near sine: the acceleration follows the displacement */
        if (i == 0) velocity = 38 * 8168; /* 38 codes amplitude, 2 pi 100 Hz per conversion = 0.008168 */
        velocity -= value / 15000;
        value += velocity;
        feed((unsigned)(400 + value / 1000000), 1);
    }
    CHECK_EQUAL(ML_ARMED, s.state);
}

/* A sample of 8 bits may differ from 10-bit code / 4 - 3/8 by less than one, as the rest is carried on. */
static bool close_to(unsigned code_10_bit, uint8_t sample) {
    int const apart_eighths = (int)code_10_bit * 2 - 3 - 8 * (int)sample;
    return apart_eighths > -8 && apart_eighths < 8;
}

/* What stands in the ring: pre-trigger, trigger, three stretches of 1, 2 and 4 conversions. */
static void layout(void) {
    start_armed(40, 0);
    feed(44, 300);
    for (unsigned i = 0; i < CAPTURE_CONVERSIONS; i++) feed(i < 512 ? 80 + 4 * (i % 200) : 440, 1);
    CHECK_EQUAL(ML_HELD, s.state);
    for (unsigned i = 0; i < ML_PRETRIGGER; i++) CHECK(close_to(44, held(i)));
    for (unsigned i = 0; i < 512; i++) CHECK(close_to(80 + 4 * (i % 200), held(ML_PRETRIGGER + i)));
    for (unsigned i = ML_PRETRIGGER + 512; i < ML_RING; i++) CHECK(close_to(440, held(i)));
    CHECK_EQUAL(11, s.before);
}

/* A steady level keeps its 10 bits: the mean of the pre-trigger samples is code / 4 - 3/8, for every code but 0 and 1,
 * which lie below what is taken off, and the last, where the sample is full. */
static void ten_bits_survive(void) {
    for (unsigned code = 2; code < 1000; code++) {
        start_armed(code, 0);
        feed(1023, CAPTURE_CONVERSIONS);
        long sum = 0;
        for (unsigned i = 0; i < ML_PRETRIGGER; i++) sum += held(i);
        long const apart_eighths = 8 * sum - ML_PRETRIGGER * (2L * code - 3);
        CHECK(apart_eighths > -8 && apart_eighths < 8);
    }
}

/* The tail's means lose nothing: sums over samples equal sums over conversions within what stays in the sample under
 * way, for every factor. */
static void means_are_exact(void) {
    uint64_t state = 77;
    for (uint8_t shift = 0; shift <= ML_FACTOR_SHIFT_MOST; shift++) {
        start_armed(2, shift);
        long long wanted_eighths = 0;
        for (unsigned i = 0; i < CAPTURE_CONVERSIONS << shift; i++) {
            unsigned const code = i == 0 ? 1000 : 2 + random_u32(&state) % 1018;
            feed(code, 1);
            wanted_eighths += 2 * code - 3;
        }
        CHECK_EQUAL(ML_HELD, s.state);
        long long got_eighths = 0;
        for (unsigned i = ML_PRETRIGGER; i < ML_RING; i++) {
            unsigned const after = i - ML_PRETRIGGER;
            got_eighths += 8LL * held(i) << (shift + (after < 512 ? 0 : after < 768 ? 1 : 2));
        }
        long long const apart = got_eighths > wanted_eighths ? got_eighths - wanted_eighths : wanted_eighths - got_eighths;
        CHECK(apart <= 8 * 3 * (4 << shift));
    }
}

/* Full scale stays full scale when averaged, and zero stays zero. */
static void means_reach_both_ends(void) {
    for (unsigned code = 0; code <= 1023; code += 1023) {
        start_armed(0, 3);
        feed(1023, 1);
        feed(code, CAPTURE_CONVERSIONS * 8 - 1);
        CHECK_EQUAL(ML_HELD, s.state);
        for (unsigned i = ML_PRETRIGGER + 1; i < ML_RING; i++) CHECK_EQUAL(code >> 2, held(i));
    }
}

/* A second pop while the first is held is counted, once, and the ring is left alone. */
static void second_pop_is_counted(void) {
    static uint8_t before[ML_RING];
    start_armed(20, 0);
    feed(600, 20);
    feed(20, CAPTURE_CONVERSIONS - 20);
    CHECK_EQUAL(ML_HELD, s.state);
    memcpy(before, s.ring, sizeof before);
    feed(20, 100);
    CHECK_EQUAL(0, s.lost);
    for (int i = 0; i < 100; i++) feed((unsigned)(800 - 7 * i), 1);
    feed(20, 1200);
    CHECK_EQUAL(1, s.lost);
    feed(700, 30);
    feed(20, 400);
    CHECK_EQUAL(2, s.lost);
    CHECK(memcmp(before, s.ring, sizeof before) == 0);
    ml_sensor_release(&s, true);
    CHECK_EQUAL(ML_FILL, s.state);
    feed(20, 1500);
    CHECK_EQUAL(ML_ARMED, s.state);
}

/* A pop before the pre-trigger samples are there again is counted as lost, not captured half. */
static void pop_while_filling_is_lost(void) {
    start_armed(20, 0);
    feed(600, 20);
    feed(20, CAPTURE_CONVERSIONS - 20);
    ml_sensor_release(&s, true);
    feed(20, 60);
    feed(500, 10);
    CHECK_EQUAL(1, s.lost);
    feed(20, 200);
    CHECK_EQUAL(ML_ARMED, s.state);
    feed(500, 1);
    CHECK_EQUAL(ML_CAPTURE, s.state);
    CHECK_EQUAL(1, s.lost);
}

/* The steady sums leave the captured light out. */
static void steady_leaves_the_pop_out(void) {
    struct ml_window w;
    start_armed(40, 0);
    feed(40, 500);
    feed(900, 300);
    feed(40, CAPTURE_CONVERSIONS - 300 + 500);
    CHECK(ml_sensor_take_window(&s, &w));
    CHECK_EQUAL(40, w.max >> 6);
    CHECK_EQUAL(40LL * w.count, w.sum >> 6);
}

/* Truncated when the light is still there at the end, not when it fell back or when only noise is above. */
static void truncation(void) {
    start_armed(40, 0);
    feed(900, 40);
    feed(40, CAPTURE_CONVERSIONS - 40);
    CHECK(!ml_sensor_truncated(&s));
    start_armed(40, 0);
    feed(900, 40);
    feed(44, CAPTURE_CONVERSIONS - 40);
    CHECK(!ml_sensor_truncated(&s));
    start_armed(40, 0);
    feed(900, 40);
    feed(80, CAPTURE_CONVERSIONS - 40);
    CHECK(ml_sensor_truncated(&s));
    start_armed(200, 0); /* a modelling lamp that goes dark in the pop: below, not truncated */
    feed(900, 40);
    feed(40, CAPTURE_CONVERSIONS - 40);
    CHECK(!ml_sensor_truncated(&s));
}

/* Disarming or arming anew drops a capture in progress but not one that is held. */
static void arming(void) {
    start_armed(20, 0);
    feed(600, 100);
    ml_sensor_disarm(&s);
    CHECK_EQUAL(ML_OFF, s.state);
    feed(900, 5000);
    CHECK_EQUAL(ML_OFF, s.state);
    start_armed(20, 0);
    feed(600, CAPTURE_CONVERSIONS);
    ml_sensor_disarm(&s);
    CHECK_EQUAL(ML_HELD, s.state);
    ml_sensor_release(&s, false);
    CHECK_EQUAL(ML_OFF, s.state);
}

void test_capture(void) {
    off_only_sums();
    threshold_is_exact();
    no_trigger_at_full_scale();
    slow_light_is_followed();
    hum_is_no_pop();
    layout();
    ten_bits_survive();
    means_are_exact();
    means_reach_both_ends();
    second_pop_is_counted();
    pop_while_filling_is_lost();
    steady_leaves_the_pop_out();
    truncation();
    arming();
}
