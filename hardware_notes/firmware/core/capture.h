/* One conversion of the ADC after another -> steady sums, a detected pop, its samples in a ring.
 *
 * ml_sensor_take() is the body of the sampling interrupt; everything else here is called by the main loop with that
 * interrupt held off.
 *
 *     OFF       steady sums only
 *     SETTLE    after start, a range switch or a new interval: nothing is believed, the baseline follows at once
 *     FILL      the ring gets its pre-trigger samples; a pop now is counted as lost
 *     ARMED     the ring runs; a rise above baseline + threshold triggers
 *     CAPTURE   the samples after the trigger, until the ring is full
 *     HELD      the ring belongs to the main loop, which sends it; a pop now is counted as lost
 *
 * The ring holds ML_PRETRIGGER samples from before the trigger and then three stretches, each of samples twice as
 * long as those before: fine where a flash is steep, long enough for the tail of a slow head.  A longer sample is the
 * mean of its conversions.  A sample has 8 bits of the conversion's 10: what is cut off is not lost but carried to the
 * next one, so that sums over samples, and with them room light and exposure, keep the precision of 10 bits.
 *
 * Steady sums leave out what is captured: a pop does not lift the room light that is reported around it.  Every second
 * conversion is left out as well: thousands are left, and the time is needed. */
#ifndef METERLINK_CAPTURE_H
#define METERLINK_CAPTURE_H

#include <stdbool.h>
#include <stdint.h>

#include "compiler.h"

#define ML_RING 1024       /* a power of two */
#define ML_PRETRIGGER 128  /* samples before the one that triggered */
#define ML_STRETCHES 3     /* after the trigger: of 1, 2 and 4 times the interval */
/* Samples of stretch i: 512 conversions each (6.7 ms, 20 ms in all); with the pre-trigger they fill the ring. */
#define ML_STRETCH_SAMPLES(i) (512 >> (i))
#define ML_SETTLE_CONVERSIONS 256
/* The baseline takes a step every eighth conversion (every fourth of the steady sums) and follows in 8 steps (0.8 ms):
 * slower than a flash rises, faster than room light changes. */
#define ML_CONVERSIONS_PER_STEP 8
#define ML_STEP_EVERY 4
#define ML_BASELINE_SHIFT 3
#define ML_LOST_HOLD 128  /* steps (13 ms) in which a pop that is lost is counted once */
#define ML_SETTLE_HOLD 64 /* the same after a range switch */
#define ML_FULL_SCALE_8 255
#define ML_HALF_STEPS_APART 96 /* half a step of 8 bits less half a step of 10 bits, in left-adjusted codes */

#define ML_CONVERSION_NS 13000UL
#define ML_ADC_BITS 10
#define ML_FACTOR_SHIFT_MOST 3 /* factors 1, 2, 4, 8 */

/* In an order that lets the interrupt ask for groups of them. */
enum ml_state { ML_SETTLE, ML_CAPTURE, ML_OFF, ML_HELD, ML_FILL, ML_ARMED };


/* Numbers of the steady window under way; the codes are left-adjusted: 10 bits in the upper part of 16. */
struct ml_window {
    uint32_t sum;
    uint16_t count;
    uint16_t min;
    uint16_t max;
};

/* The same as the interrupt keeps them, in halves: the upper ones change rarely, and what is not touched costs no time.
 */
struct ml_window_halves {
    uint16_t sum_low;
    uint16_t sum_high;
    uint8_t count_low;
    uint8_t count_high;
    uint16_t min;
    uint16_t max;
};

struct ml_sensor {
    uint8_t ring[ML_RING];
    uint16_t write;         /* index of the next sample */
    uint16_t left;          /* samples to go in a stretch; conversions in SETTLE; steps in FILL */
    uint8_t hold;           /* steps before another lost pop is counted */
    uint8_t skip;           /* 1 for a conversion that is left out of the sums */
    uint16_t baseline;      /* of 8-bit codes, times 1 << ML_BASELINE_SHIFT */
    uint16_t sum;           /* of the conversions in the sample under way */
    volatile uint8_t state;
    uint8_t threshold_less_1; /* 8-bit codes above the baseline that are no rise yet */
    uint8_t highest_calm;   /* baseline + threshold - 1: what is above is a rise; full scale: nothing is */
    uint8_t carry;          /* what the last sample left over, in 1/256 of its step */
    uint8_t left_in_sample; /* conversions to go in the sample under way */
    uint8_t sample_shift;   /* a sample is the mean of 1 << sample_shift conversions */
    uint8_t sample_length;  /* 1 << sample_shift */
    uint8_t sample_scale;   /* 256 >> sample_shift, 0 for shift 0: the interrupt multiplies faster than it shifts */
    uint8_t stretch;
    uint8_t peak;           /* highest 8-bit code since the trigger */
    uint8_t before;         /* baseline at the trigger, 8-bit code */
    uint8_t factor_shift;   /* of the interval commanded */
    uint16_t lost;          /* pops seen but not kept */
    struct ml_window_halves window;
};

/* Everything at rest: OFF, factor 1, threshold 6 codes of 256 (2.3 % of full scale), an empty window. */
void ml_sensor_init(struct ml_sensor *s);

/* Start to watch for pops (through SETTLE), dropping a capture in progress. */
void ml_sensor_arm(struct ml_sensor *s);

/* Stop to watch.  A capture in progress is dropped; one that is held stays with the main loop until it is released. */
void ml_sensor_disarm(struct ml_sensor *s);

/* The held ring has been sent: watch again (FILL), or OFF if `armed` is false. */
void ml_sensor_release(struct ml_sensor *s, bool armed);

/* Samples are means of 1 << shift conversions from the next arming on. */
void ml_sensor_set_factor(struct ml_sensor *s, uint8_t shift);

/* Hand out the window so far and begin a new one.  False, and nothing taken, when it holds no conversion. */
bool ml_sensor_take_window(struct ml_sensor *s, struct ml_window *out);

/* Index in the ring of the oldest sample of a held capture. */
uint16_t ml_sensor_oldest(struct ml_sensor const *s);

/* For a held capture: true if the light had not fallen back when the ring was full, that is if the mean of the last 16
 * samples is above the baseline by more than 1/32 of the peak and by more than one code. */
bool ml_sensor_truncated(struct ml_sensor const *s);

/* The baseline jumps to this 8-bit code. */
void ml_sensor_set_baseline(struct ml_sensor *s, uint8_t level);

void ml_sensor_set_threshold(struct ml_sensor *s, uint8_t codes);

/* ------------------------------------------------------------------------------------------ in the interrupt
 *
 * 208 cycles of an ATmega328P pass from one conversion to the next, and the line wants its share.  Nothing here calls a
 * function: one call, however rare, would make the interrupt save all registers every time. */

ML_INLINE void ml_set_highest_calm(struct ml_sensor *s, uint8_t base) {
    uint8_t const highest = (uint8_t)(base + s->threshold_less_1);
    s->highest_calm = highest < base ? ML_FULL_SCALE_8 : highest;
}

ML_INLINE void ml_baseline_take(struct ml_sensor *s, uint8_t level) {
    uint16_t baseline = s->baseline;
    baseline = (uint16_t)(baseline + level - (uint8_t)(baseline >> ML_BASELINE_SHIFT));
    s->baseline = baseline;
    ml_set_highest_calm(s, (uint8_t)(baseline >> ML_BASELINE_SHIFT));
}

/* Ten bits to eight, the rest carried on.  A truncated code stands for half a step more than it says, of 10 bits here
 * and of 8 bits where the sample is read: the difference is taken off, but not below zero. */
ML_INLINE uint8_t ml_carry_round(struct ml_sensor *s, uint16_t code) {
    code = code >= ML_HALF_STEPS_APART ? (uint16_t)(code - ML_HALF_STEPS_APART) : 0;
    uint8_t level = (uint8_t)(code >> 8);
    uint8_t const carry = (uint8_t)((uint8_t)code + s->carry);
    if (carry < (uint8_t)code && level != ML_FULL_SCALE_8) level++;
    s->carry = carry;
    return level;
}

/* Fold one conversion into the sample under way; true if that completed a sample, which is now in the ring. */
ML_INLINE bool ml_ring_take(struct ml_sensor *s, uint16_t code) {
    uint8_t level = ml_carry_round(s, code);
    uint8_t const scale = s->sample_scale;
    if (scale != 0) {
        uint16_t const sum = (uint16_t)(s->sum + level);
        if (--s->left_in_sample != 0) {
            s->sum = sum;
            return false;
        }
        uint8_t const length = s->sample_length;
        s->left_in_sample = length;
        s->sum = (uint8_t)((uint8_t)sum & (uint8_t)(length - 1));
        /* sum / length */
        level = (uint8_t)((uint8_t)((uint8_t)(sum >> 8) * scale) + (uint8_t)((uint16_t)((uint8_t)sum * scale) >> 8));
    }
    uint16_t const write = s->write;
    s->ring[write] = level;
    s->write = (write + 1) & (ML_RING - 1);
    return true;
}

/* The end of a stretch: the next one with longer samples, or HELD. */
ML_INLINE void ml_next_stretch(struct ml_sensor *s, uint8_t level) {
    uint8_t const stretch = (uint8_t)(s->stretch + 1);
    if (stretch == ML_STRETCHES) {
        /* From here a rise above what is left of this pop is another pop. */
        s->baseline = (uint16_t)(level << ML_BASELINE_SHIFT);
        ml_set_highest_calm(s, level);
        s->hold = 0;
        s->state = ML_HELD;
        return;
    }
    s->stretch = stretch;
    s->left = stretch == 1 ? ML_STRETCH_SAMPLES(1) : ML_STRETCH_SAMPLES(2);
    /* samples of twice the length */
    s->sample_shift++;
    s->sample_scale = s->sample_scale == 0 ? 128 : s->sample_scale >> 1;
    s->left_in_sample = s->sample_length = (uint8_t)(s->sample_length << 1);
    s->sum = 0;
}

ML_INLINE void ml_window_take(struct ml_window_halves *w, uint16_t code) {
    uint16_t const sum = (uint16_t)(w->sum_low + code);
    w->sum_low = sum;
    if (sum < code) w->sum_high++;
    if (code < w->min) w->min = code;
    if (code > w->max) w->max = code;
    if (++w->count_low == 0) w->count_high++;
}

/* Steps until the ring has its pre-trigger samples, and one for those that began in between. */
ML_INLINE uint16_t ml_fill_steps(struct ml_sensor const *s) {
    return (uint16_t)(s->sample_length * (ML_PRETRIGGER / ML_CONVERSIONS_PER_STEP) + 2);
}

/* One conversion, left-adjusted: 10 bits in the upper part of 16. */
ML_INLINE void ml_sensor_take(struct ml_sensor *s, uint16_t code) {
    uint8_t const level = (uint8_t)(code >> 8);
    uint8_t const state = s->state;
    if (state >= ML_OFF) {
        if (level > s->highest_calm) {
            if (state == ML_ARMED) {
                s->stretch = 0;
                s->left = ML_STRETCH_SAMPLES(0);
                s->peak = level;
                s->before = (uint8_t)(s->baseline >> ML_BASELINE_SHIFT);
                s->state = ML_CAPTURE;
                if (ml_ring_take(s, code)) s->left--;
                return;
            }
            if (state != ML_OFF && s->hold == 0) {
                s->hold = ML_LOST_HOLD;
                s->lost++;
            }
        }
        if (state >= ML_FILL) (void)ml_ring_take(s, code);
        if ((s->skip ^= 1) != 0) return;
        if (s->window.count_low % ML_STEP_EVERY == 0) {
            ml_baseline_take(s, level);
            if (s->hold != 0) s->hold--;
            if (state == ML_FILL && --s->left == 0) s->state = ML_ARMED;
        }
    } else if (state == ML_CAPTURE) {
        if (level > s->peak) s->peak = level;
        if (ml_ring_take(s, code) && --s->left == 0) ml_next_stretch(s, level);
        return;
    } else {
        if (--s->left == 0) {
            s->baseline = (uint16_t)(level << ML_BASELINE_SHIFT);
            ml_set_highest_calm(s, level);
            s->left = ml_fill_steps(s);
            s->state = ML_FILL;
        }
        return;
    }
    ml_window_take(&s->window, code);
}

#endif
