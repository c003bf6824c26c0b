#include "capture.h"

#define TAIL 16

static void start_window(struct ml_window_halves *w) {
    w->sum_low = w->sum_high = 0;
    w->count_low = w->count_high = 0;
    w->min = UINT16_MAX;
    w->max = 0;
}

/* Looked up, not shifted: it is done while conversions wait. */
static ML_FLASH uint8_t const lengths[ML_FACTOR_SHIFT_MOST + 1] = {1, 2, 4, 8};
static ML_FLASH uint8_t const scales[ML_FACTOR_SHIFT_MOST + 1] = {0, 128, 64, 32};

/* Samples are means of 1 << shift conversions from here on. */
static void start_samples(struct ml_sensor *s, uint8_t shift) {
    s->sample_shift = shift;
    s->sample_length = s->left_in_sample = lengths[shift];
    s->sample_scale = scales[shift];
    s->sum = 0;
}

void ml_sensor_init(struct ml_sensor *s) {
    s->write = 0;
    s->left = 0;
    s->hold = s->skip = s->carry = 0;
    s->state = ML_OFF;
    s->threshold_less_1 = 5;
    ml_sensor_set_baseline(s, 0);
    s->stretch = 0;
    s->peak = 0;
    s->before = 0;
    s->factor_shift = 0;
    s->lost = 0;
    start_samples(s, 0);
    start_window(&s->window);
}

void ml_sensor_arm(struct ml_sensor *s) {
    start_samples(s, s->factor_shift);
    start_window(&s->window);
    s->left = ML_SETTLE_CONVERSIONS;
    s->hold = 0;
    s->state = ML_SETTLE;
}

void ml_sensor_disarm(struct ml_sensor *s) {
    if (s->state != ML_HELD) s->state = ML_OFF;
}

void ml_sensor_release(struct ml_sensor *s, bool armed) {
    start_samples(s, s->factor_shift);
    s->left = ml_fill_steps(s);
    s->state = armed ? ML_FILL : ML_OFF;
}

void ml_sensor_set_factor(struct ml_sensor *s, uint8_t shift) { s->factor_shift = shift; }

bool ml_sensor_take_window(struct ml_sensor *s, struct ml_window *out) {
    struct ml_window_halves const *const w = &s->window;
    out->count = (uint16_t)(w->count_low | (uint16_t)w->count_high << 8);
    if (out->count == 0) return false;
    out->sum = w->sum_low | (uint32_t)w->sum_high << 16;
    out->min = w->min;
    out->max = w->max;
    start_window(&s->window);
    return true;
}

uint16_t ml_sensor_oldest(struct ml_sensor const *s) { return s->write; }

bool ml_sensor_truncated(struct ml_sensor const *s) {
    uint16_t tail = 0;
    for (uint8_t i = 1; i <= TAIL; i++) tail = (uint16_t)(tail + s->ring[(s->write - i) & (ML_RING - 1)]);
    uint16_t const base = s->before;
    if (tail <= (base + 1) * TAIL) return false;
    uint16_t const above = (uint16_t)(tail - base * TAIL);
    uint16_t const height = s->peak > base ? (uint16_t)(s->peak - base) : 0;
    return above * (32 / TAIL) > height;
}

void ml_sensor_set_baseline(struct ml_sensor *s, uint8_t level) {
    s->baseline = (uint16_t)(level << ML_BASELINE_SHIFT);
    ml_set_highest_calm(s, level);
}

void ml_sensor_set_threshold(struct ml_sensor *s, uint8_t codes) {
    s->threshold_less_1 = (uint8_t)(codes - 1);
    ml_set_highest_calm(s, (uint8_t)(s->baseline >> ML_BASELINE_SHIFT));
}
