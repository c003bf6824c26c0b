/* The whole sensor on this machine: commands in, messages out, conversions fed by hand. */
#include <string.h>

#include "check.h"
#include "device.h"

#define CAPTURE_CONVERSIONS ((unsigned)(ML_STRETCHES * ML_STRETCH_SAMPLES(0)))

static struct ml_sensor sensor;
static struct ml_device device;
static uint8_t range_set;
static int locked;
static uint32_t now_ms;

/* What came out last, and all of it since the last look. */
static uint8_t came[16][1200];
static size_t came_length[16];
static int came_count;
static struct ml_receiver host;
static uint8_t host_buffer[1200];

static void set_range(uint8_t range) { range_set = range; }
static void lock(void) { CHECK_EQUAL(0, locked++); }
static void unlock(void) { CHECK_EQUAL(1, locked--); }

static struct ml_hardware const hardware = {.set_range = set_range, .lock = lock, .unlock = unlock};

static void pump(void) {
    uint8_t byte;
    came_count = 0;
    for (int i = 0; i < 200 && came_count < 15; i++) {
        ml_device_poll(&device, now_ms);
        while (ml_device_transmit(&device, &byte)) {
            if (ml_receiver_take(&host, byte) != ML_MESSAGE) continue;
            memcpy(came[came_count], host_buffer, host.length);
            came_length[came_count++] = host.length;
        }
    }
}

static void feed(unsigned code_10_bit, unsigned times) {
    while (times-- != 0) ml_sensor_take(&sensor, (uint16_t)(code_10_bit << 6));
}

/* Start anew, armed and quiet, the IDENTITY already taken. */
static void start(void) {
    static uint8_t const id[8] = {1, 2, 3, 4, 5, 6, 7, 8};
    memset(&device, 0x5A, sizeof device);
    now_ms = 0;
    ml_receiver_init(&host, host_buffer, sizeof host_buffer);
    ml_device_init(&device, &hardware, &sensor, id, (uint8_t const *)"dome", 4);
    pump();
    feed(40, ML_SETTLE_CONVERSIONS + FILL_CONVERSIONS);
}

static void send_raw(uint8_t const *message, size_t length) {
    uint8_t frame[128];
    size_t const n = reference_frame(message, length, frame);
    for (size_t i = 0; i < n; i++) ml_device_receive(&device, frame[i]);
}

static void send(uint8_t type, uint16_t sequence, uint8_t a, uint8_t b, uint8_t c, size_t body_length) {
    uint8_t const message[7] = {1, type, (uint8_t)sequence, (uint8_t)(sequence >> 8), a, b, c};
    send_raw(message, 4 + body_length);
}

static int index_of(uint8_t type) {
    for (int i = 0; i < came_count; i++) {
        if (came[i][1] == type) return i;
    }
    return -1;
}

/* The code of the one REPLY that came. */
static int reply_code(uint8_t command, uint16_t sequence) {
    int const i = index_of(ML_REPLY);
    if (i < 0 || came[i][4] != command || ml_get_u16(came[i] + 5) != sequence) return -1;
    return came[i][7];
}

/* After start one IDENTITY is sent unasked, range 0 is closed and pops are watched for. */
static void says_who_it_is(void) {
    static uint8_t const id[8] = {1, 2, 3, 4, 5, 6, 7, 8};
    range_set = 9;
    start();
    CHECK_EQUAL(1, came_count);
    CHECK_EQUAL(ML_IDENTITY, came[0][1]);
    CHECK(memcmp(came[0] + 8, id, 8) == 0);
    CHECK_EQUAL(4, came[0][26]);
    CHECK(memcmp(came[0] + 27, "dome", 4) == 0);
    CHECK_EQUAL(0, range_set);
    CHECK_EQUAL(ML_ARMED, sensor.state);
    send(ML_IDENTIFY, 77, 0, 0, 0, 0);
    pump();
    CHECK_EQUAL(1, came_count);
    CHECK_EQUAL(ML_IDENTITY, came[0][1]);
}

/* A pop gives a POP and then its BLOCK, numbered alike and with consecutive sequence numbers. */
static void pop_then_block(void) {
    start();
    for (uint16_t pop = 1; pop <= 3; pop++) {
        now_ms += 50;
        feed(700, 60);
        feed(40, CAPTURE_CONVERSIONS - 60);
        pump();
        int const p = index_of(ML_POP), b = index_of(ML_BLOCK);
        CHECK(p >= 0 && b == p + 1);
        CHECK_EQUAL(pop, ml_get_u16(came[p] + 8));
        CHECK_EQUAL(pop, ml_get_u16(came[b] + 8));
        CHECK_EQUAL(now_ms - 20, ml_get_u32(came[p] + 4));
        CHECK_EQUAL((uint16_t)(ml_get_u16(came[p] + 2) + 1), ml_get_u16(came[b] + 2));
        CHECK_EQUAL(4 + 15 + 18 + ML_RING, came_length[b]);
        CHECK_EQUAL(ML_PRETRIGGER + 512, ml_get_u16(came[b] + 19));
        CHECK_EQUAL(13000, ml_get_u32(came[b] + 21));
        CHECK_EQUAL(52000, ml_get_u32(came[b] + 33));
        CHECK(came[b][37 + ML_PRETRIGGER - 1] <= 10);
        CHECK(came[b][37 + ML_PRETRIGGER] >= 174);
        CHECK_EQUAL(0, came[b][11]);
        feed(40, FILL_CONVERSIONS);
    }
}

/* Clipped light is flagged in POP and BLOCK, light that stays in the BLOCK. */
static void flags(void) {
    start();
    feed(1023, CAPTURE_CONVERSIONS);
    pump();
    CHECK_EQUAL(ML_FLAG_CLIPPED, came[index_of(ML_POP)][11]);
    CHECK_EQUAL(ML_FLAG_CLIPPED | ML_FLAG_TRUNCATED, came[index_of(ML_BLOCK)][11]);
}

/* A pop while the block is on its way is told in the next POP and in STATUS. */
static void lost_pop_is_told(void) {
    uint8_t byte;
    start();
    feed(700, 60);
    feed(40, CAPTURE_CONVERSIONS - 60);
    ml_device_poll(&device, now_ms);
    while (ml_device_transmit(&device, &byte)) (void)ml_receiver_take(&host, byte);
    ml_device_poll(&device, now_ms);
    for (int i = 0; i < 100; i++) {
        CHECK(ml_device_transmit(&device, &byte));
        (void)ml_receiver_take(&host, byte);
    }
    feed(800, 50);
    feed(40, 1000);
    pump();
    CHECK(index_of(ML_BLOCK) >= 0); /* whole and verified, although light came in between */
    feed(40, FILL_CONVERSIONS);
    feed(700, 60);
    feed(40, CAPTURE_CONVERSIONS - 60);
    send(ML_GET_STATUS, 1, 0, 0, 0, 0);
    pump();
    CHECK_EQUAL(1, ml_get_u16(came[index_of(ML_POP)] + 12));
    CHECK_EQUAL(2, ml_get_u16(came[index_of(ML_POP)] + 8));
    int const status = index_of(ML_STATUS);
    CHECK_EQUAL(3, ml_get_u16(came[status] + 20));
    CHECK_EQUAL(1, ml_get_u16(came[status] + 22));
}

/* Steady light comes ten times a second, at the rate asked for, or not at all; its sum is exact. */
static void steady_rates(void) {
    static uint8_t const rates[] = {10, 1, 2, 50, 0, 7};
    start();
    for (size_t r = 0; r < sizeof rates; r++) {
        send(ML_STEADY_RATE, 5, rates[r], 0, 0, 1);
        pump();
        if (index_of(ML_STEADY) < 0) CHECK_EQUAL(ML_DONE, reply_code(ML_STEADY_RATE, 5));
        int seen = 0;
        for (int ms = 0; ms < 3000; ms++) {
            now_ms++;
            feed(40, 77);
            pump();
            for (int i = 0; i < came_count; i++) {
                if (came[i][1] != ML_STEADY) continue;
                seen++;
                uint16_t const count = ml_get_u16(came[i] + 14);
                CHECK(count > 0 && (rates[r] < 2 || count <= 77 * (1000 / rates[r] + 1)));
                CHECK_EQUAL(40U * count, ml_get_u32(came[i] + 10));
                CHECK_EQUAL(40, ml_get_u16(came[i] + 16));
                CHECK_EQUAL(40, ml_get_u16(came[i] + 18));
            }
        }
        CHECK(seen >= 3 * rates[r] - 1 && seen <= 3 * rates[r] + 3);
    }
    send(ML_STEADY_RATE, 6, 51, 0, 0, 1);
    pump();
    CHECK_EQUAL(ML_NOT_POSSIBLE, reply_code(ML_STEADY_RATE, 6));
}

/* A range is switched at once, the step of the level is no pop, and no window mixes two ranges. */
static void switching_ranges(void) {
    start();
    feed(40, 500);
    send(ML_SET_RANGE, 9, 1, 0, 0, 1);
    CHECK_EQUAL(1, range_set);
    feed(400, 3000);
    now_ms += 100;
    pump();
    CHECK_EQUAL(ML_DONE, reply_code(ML_SET_RANGE, 9));
    CHECK_EQUAL(-1, index_of(ML_POP));
    int const steady = index_of(ML_STEADY);
    CHECK_EQUAL(1, came[steady][8]);
    CHECK_EQUAL(400, ml_get_u16(came[steady] + 16));
    CHECK_EQUAL(400, ml_get_u16(came[steady] + 18));
    send(ML_SET_RANGE, 10, 2, 0, 0, 1);
    pump();
    CHECK_EQUAL(ML_NOT_POSSIBLE, reply_code(ML_SET_RANGE, 10));
    CHECK_EQUAL(1, range_set);
}

/* A range switched while a capture runs drops it; while one is held, the block keeps the range it was taken on. */
static void switching_in_a_capture(void) {
    start();
    feed(700, 60);
    send(ML_SET_RANGE, 1, 1, 0, 0, 1);
    feed(400, 3000);
    pump();
    CHECK_EQUAL(-1, index_of(ML_POP));
    feed(900, CAPTURE_CONVERSIONS);
    send(ML_SET_RANGE, 2, 0, 0, 0, 1);
    feed(90, 300);
    pump();
    CHECK_EQUAL(1, came[index_of(ML_POP)][10]);
    CHECK_EQUAL(1, came[index_of(ML_BLOCK)][10]);
    CHECK_EQUAL(0, sensor.lost);
}

/* Factors 1, 2, 4, 8 are announced in STATUS and in the segments; others are not possible; a running capture is busy. */
static void intervals(void) {
    for (uint8_t factor = 1; factor <= 8; factor = (uint8_t)(factor * 2)) {
        start();
        send(ML_SET_INTERVAL, 3, factor, 0, 0, 1);
        send(ML_GET_STATUS, 4, 0, 0, 0, 0);
        pump();
        CHECK_EQUAL(ML_DONE, reply_code(ML_SET_INTERVAL, 3));
        CHECK_EQUAL(13000U * factor, ml_get_u32(came[index_of(ML_STATUS)] + 16));
        feed(40, ML_SETTLE_CONVERSIONS + FILL_CONVERSIONS * (unsigned)factor);
        feed(700, 10);
        send(ML_SET_INTERVAL, 5, 1, 0, 0, 1);
        pump();
        CHECK_EQUAL(ML_BUSY, reply_code(ML_SET_INTERVAL, 5));
        feed(40, CAPTURE_CONVERSIONS * factor - 10);
        now_ms += 1000;
        pump();
        int const b = index_of(ML_BLOCK);
        for (int i = 0; i < ML_STRETCHES; i++) {
            CHECK_EQUAL((13000U * factor) << i, ml_get_u32(came[b] + 21 + 6 * i));
        }
        CHECK_EQUAL(1000 - 20 * factor, ml_get_u32(came[b] + 4));
    }
    for (unsigned factor = 0; factor < 256; factor++) {
        if (factor == 1 || factor == 2 || factor == 4 || factor == 8) continue;
        start();
        send(ML_SET_INTERVAL, 3, (uint8_t)factor, 0, 0, 1);
        pump();
        CHECK_EQUAL(ML_NOT_POSSIBLE, reply_code(ML_SET_INTERVAL, 3));
    }
}

/* ARM sets the threshold or leaves it; what is below two codes, or neither on nor off, is not possible. */
static void arming(void) {
    start();
    send(ML_ARM, 1, 0, 0, 0, 3);
    pump();
    CHECK_EQUAL(ML_DONE, reply_code(ML_ARM, 1));
    feed(900, 3000);
    feed(40, 3000);
    pump();
    CHECK_EQUAL(-1, index_of(ML_POP));
    send(ML_ARM, 2, 1, 0x00, 0x28, 3); /* 0x2800: 40 codes */
    feed(40, ML_SETTLE_CONVERSIONS + FILL_CONVERSIONS);
    send(ML_GET_STATUS, 3, 0, 0, 0, 0);
    feed(40 + 39 * 4, 4);
    CHECK_EQUAL(ML_ARMED, sensor.state);
    feed(40, 400);
    feed(40 + 40 * 4, 1);
    CHECK_EQUAL(ML_CAPTURE, sensor.state);
    pump();
    CHECK_EQUAL(ML_DONE, reply_code(ML_ARM, 2));
    int const status = index_of(ML_STATUS);
    CHECK_EQUAL(ML_FLAG_ARMED, came[status][9]);
    CHECK_EQUAL(10 << 8, ml_get_u16(came[status] + 10) & 0xFF00);
    CHECK_EQUAL(0x2800, ml_get_u16(came[status] + 12));
    send(ML_ARM, 4, 1, 0xFF, 0x01, 3);
    pump();
    CHECK_EQUAL(ML_NOT_POSSIBLE, reply_code(ML_ARM, 4));
    send(ML_ARM, 5, 2, 0, 0, 3);
    pump();
    CHECK_EQUAL(ML_NOT_POSSIBLE, reply_code(ML_ARM, 5));
}

/* Damaged, short, misdirected frames are counted without an answer; an unknown command is answered. */
static void refusals(void) {
    static uint8_t const version2[] = {2, ML_GET_STATUS, 0, 0};
    uint8_t frame[64];
    start();
    send(ML_SET_RANGE, 1, 0, 0, 0, 0); /* no body */
    send(ML_ARM, 2, 1, 0, 0, 2);       /* short */
    send(ML_POP, 3, 0, 0, 0, 3);       /* an echo */
    send_raw(version2, sizeof version2);
    static uint8_t const status[] = {1, ML_GET_STATUS, 9, 0};
    size_t const n = reference_frame(status, sizeof status, frame);
    frame[3] ^= 4;
    for (size_t i = 0; i < n; i++) ml_device_receive(&device, frame[i]);
    for (int i = 0; i < 1000; i++) ml_device_receive(&device, 0x33);
    ml_device_receive(&device, 0);
    pump();
    CHECK_EQUAL(0, came_count);
    CHECK_EQUAL(6, device.refused);
    send(0xEE, 4, 0, 0, 0, 0);
    pump();
    CHECK_EQUAL(ML_UNKNOWN_COMMAND, reply_code(0xEE, 4));
    send_raw(status, sizeof status);
    pump();
    CHECK_EQUAL(6, ml_get_u16(came[index_of(ML_STATUS)] + 24));
}

/* More commands than answers can wait: those are refused and counted, the others answered in order. */
static void too_many_commands(void) {
    start();
    for (uint16_t i = 0; i < ML_ANSWERS + 3; i++) send(ML_STEADY_RATE, i, 0, 0, 0, 1);
    pump();
    CHECK_EQUAL(ML_ANSWERS, came_count);
    for (int i = 0; i < came_count; i++) CHECK_EQUAL(i, ml_get_u16(came[i] + 5));
    CHECK_EQUAL(3, device.refused);
}

/* Random bytes, commands and light for a long time: nothing out of bounds, and then it answers as ever. */
static void fuzz(void) {
    uint64_t state = 4711;
    start();
    for (int i = 0; i < 60000; i++) {
        uint32_t const r = random_u32(&state);
        if (r % 3 == 0) {
            ml_device_receive(&device, (uint8_t)(r >> 8));
        } else if (r % 3 == 1) {
            send((uint8_t)(0x80 + (r >> 8) % 8), (uint16_t)i, (uint8_t)(r >> 16) % 12, 0, (uint8_t)(r >> 24), 3);
        } else {
            feed(r >> 22, (r >> 8) % 300);
        }
        if (r % 5 == 0) {
            now_ms += r % 40;
            pump();
        }
    }
    ml_device_receive(&device, 0);
    for (int i = 0; i < 4; i++) pump();
    send(ML_GET_STATUS, 1, 0, 0, 0, 0);
    now_ms += 1000;
    pump();
    CHECK(index_of(ML_STATUS) >= 0);
}

void test_device(void) {
    says_who_it_is();
    pop_then_block();
    flags();
    lost_pop_is_told();
    steady_rates();
    switching_ranges();
    switching_in_a_capture();
    intervals();
    arming();
    refusals();
    too_many_commands();
    fuzz();
}
