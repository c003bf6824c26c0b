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
 * mean of its conversions, rounded with the remainder carried to the next one, so that sums over samples stay exact.
 *
 * Steady sums leave out what is captured: a pop does not lift the room light that is reported around it.  In HELD every
 * second conversion is left out as well, which leaves the time that sending the block takes. */
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
/* The baseline takes every fourth conversion of the steady sums and follows in 16 of them (0.8 ms, twice that in HELD):
 * slower than a flash rises, faster than room light changes. */
#define ML_BASELINE_EVERY 4
#define ML_BASELINE_SHIFT 4
/* Steps of the baseline (13 ms in HELD) in which a pop that is lost is counted once, and after a range switch. */
#define ML_LOST_HOLD 128
#define ML_SETTLE_HOLD 64
#define ML_FULL_SCALE_8 255

#define ML_CONVERSION_NS 13000UL
#define ML_ADC_BITS 10
#define ML_FACTOR_SHIFT_MOST 3 /* factors 1, 2, 4, 8 */

/* In an order that lets the interrupt ask for groups of them. */
enum ml_state { ML_OFF, ML_SETTLE, ML_CAPTURE, ML_HELD, ML_FILL, ML_ARMED };


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
    uint16_t left;          /* samples to go in this state or stretch; conversions in SETTLE */
    uint8_t hold;           /* steps of the baseline before another lost pop is counted */
    uint8_t skip;           /* in HELD: 1 for a conversion that is left out of the sums */
    uint16_t baseline;      /* of 8-bit codes, times 1 << ML_BASELINE_SHIFT */
    uint16_t sum;           /* of the conversions in the sample under way */
    volatile uint8_t state;
    uint8_t threshold;      /* 8-bit codes above the baseline */
    uint8_t trigger_at;     /* baseline + threshold, or full scale: below it nothing can be a rise */
    uint8_t left_in_sample; /* conversions to go in the sample under way */
    uint8_t sample_shift;   /* a sample is the mean of 1 << sample_shift conversions */
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

ML_INLINE void ml_set_trigger_at(struct ml_sensor *s, uint8_t base) {
    uint8_t const at = (uint8_t)(base + s->threshold);
    s->trigger_at = at < base ? ML_FULL_SCALE_8 : at;
}

ML_INLINE void ml_baseline_take(struct ml_sensor *s, uint8_t level) {
    uint16_t baseline = s->baseline;
    baseline = (uint16_t)(baseline + level - (uint8_t)(baseline >> ML_BASELINE_SHIFT));
    s->baseline = baseline;
    ml_set_trigger_at(s, (uint8_t)(baseline >> ML_BASELINE_SHIFT));
}

/* For a level that has reached trigger_at: true unless that was only full scale, with the baseline close below. */
ML_INLINE bool ml_is_rise(struct ml_sensor const *s, uint8_t level) {
    uint8_t const base = (uint8_t)(s->baseline >> ML_BASELINE_SHIFT);
    return level >= base && (uint8_t)(level - base) >= s->threshold;
}

/* Samples are means of 1 << shift conversions from here on. */
ML_INLINE void ml_start_samples(struct ml_sensor *s, uint8_t shift) {
    uint8_t const length = (uint8_t)(1 << shift);
    s->sample_shift = shift;
    s->left_in_sample = length;
    s->sum = length >> 1;
}

/* Fold one conversion into the sample under way; true if that completed a sample, which is now in the ring. */
ML_INLINE bool ml_ring_take(struct ml_sensor *s, uint8_t level) {
    uint8_t const shift = s->sample_shift;
    if (shift != 0) {
        uint16_t sum = (uint16_t)(s->sum + level);
        if (--s->left_in_sample != 0) {
            s->sum = sum;
            return false;
        }
        uint8_t const length = (uint8_t)(1 << shift);
        s->left_in_sample = length;
        s->sum = sum & (uint8_t)(length - 1);
        level = (uint8_t)(sum >> shift);
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
        ml_set_trigger_at(s, level);
        s->hold = 0;
        s->state = ML_HELD;
        return;
    }
    s->stretch = stretch;
    s->left = stretch == 1 ? ML_STRETCH_SAMPLES(1) : ML_STRETCH_SAMPLES(2);
    ml_start_samples(s, (uint8_t)(s->sample_shift + 1));
}

ML_INLINE void ml_window_take(struct ml_window_halves *w, uint16_t code) {
    uint16_t const sum = (uint16_t)(w->sum_low + code);
    w->sum_low = sum;
    if (sum < code) w->sum_high++;
    if (code < w->min) w->min = code;
    if (code > w->max) w->max = code;
    if (++w->count_low == 0) w->count_high++;
}

/* One conversion, left-adjusted: 10 bits in the upper part of 16. */
ML_INLINE void ml_sensor_take(struct ml_sensor *s, uint16_t code) {
    uint8_t const level = (uint8_t)(code >> 8);
    uint8_t const state = s->state;
    if (state >= ML_HELD) {
        if (level >= s->trigger_at && ml_is_rise(s, level)) {
            if (state == ML_ARMED) {
                s->stretch = 0;
                s->left = ML_STRETCH_SAMPLES(0);
                s->peak = level;
                s->before = (uint8_t)(s->baseline >> ML_BASELINE_SHIFT);
                s->state = ML_CAPTURE;
                if (ml_ring_take(s, level)) s->left--;
                return;
            }
            if (s->hold == 0) {
                s->hold = ML_LOST_HOLD;
                s->lost++;
            }
        }
        if (state == ML_ARMED) {
            (void)ml_ring_take(s, level);
        } else if (state == ML_HELD) {
            if ((s->skip ^= 1) != 0) return;
        } else if (ml_ring_take(s, level) && --s->left == 0) {
            s->state = ML_ARMED;
        }
        if (s->window.count_low % ML_BASELINE_EVERY == 0) {
            ml_baseline_take(s, level);
            if (s->hold != 0) s->hold--;
        }
    } else if (state == ML_CAPTURE) {
        if (level > s->peak) s->peak = level;
        if (ml_ring_take(s, level) && --s->left == 0) ml_next_stretch(s, level);
        return;
    } else if (state == ML_SETTLE) {
        if (--s->left == 0) {
            s->baseline = (uint16_t)(level << ML_BASELINE_SHIFT);
            ml_set_trigger_at(s, level);
            s->left = ML_PRETRIGGER;
            s->state = ML_FILL;
        }
        return;
    }
    ml_window_take(&s->window, code);
}

#endif
