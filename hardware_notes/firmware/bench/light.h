/* The light before the sensor and the analogue part behind it: what voltage stands at the ADC at a given moment.
 *
 * Knows nothing of the simulated chip.  Times are seconds since the bench began, illuminances lux at the dome,
 * voltages fractions of the ADC's full scale. */
#ifndef METERLINK_BENCH_LIGHT_H
#define METERLINK_BENCH_LIGHT_H

#include <stdbool.h>
#include <stdint.h>

#define RANGES 2
#define PULSES_MOST 256

enum shape {
    SHAPE_DOUBLE_EXPONENTIAL, /* rise and decay; with `cut` > 0 cut off then, falling on with `fall` */
    SHAPE_RECTANGLE,          /* `width`; with `edge` > 0 a trapezoid whose edges are added outside the width */
    SHAPE_GAUSSIAN,           /* `width` is its standard deviation; `at` its centre */
};

struct pulse {
    enum shape shape;
    double at_s;
    double peak_lx; /* of the pulse without cut; may be negative (a lamp that goes dark) */
    double rise_s;
    double decay_s;
    double cut_s;
    double fall_s;
    double width_s;
    double edge_s;
    /* repeated `count` times every `period_s`: a train */
    unsigned count;
    double period_s;
    /* worked out by light_add_pulse */
    double scale;
    double begin_s;
    double end_s;
    double length_s;
};

struct light {
    double ambient_lx;
    double flicker_depth; /* 0 ... 1: ambient x (1 + depth sin 2 pi f t) */
    double flicker_hz;
    struct pulse pulses[PULSES_MOST];
    unsigned pulse_count;

    double full_scale_lx[RANGES];
    double gain_error[RANGES];  /* 0.01 reads one per cent high */
    double offset;              /* dark offset, fraction of full scale */
    double nonlinearity;        /* v + n v^2 */
    double hum;                 /* amplitude, fraction of full scale */
    double hum_hz;
    double pole_s;              /* time constant of the amplifier */
    double noise;               /* standard deviation, fraction of full scale */
    uint64_t random;
    bool spare_ready;
    double spare;

    double supply_v;            /* the converter's reference is in proportion to it: 4.83 V at 5 V */
    double bandgap_v;           /* the chip's own reference */

    int range;                  /* -1: not yet chosen, the amplifier is at its rail of zero */
    double filtered;
    double filtered_at_s;
};

/* Dark, nominal full scales of 2,000,000 and 200,000 lx, a perfect amplifier of 2 us, no noise. */
void light_init(struct light *l);

/* Start the noise from this seed. */
void light_seed(struct light *l, uint64_t seed);

/* Add a pulse or train; false when there are PULSES_MOST that have not yet passed. */
bool light_add_pulse(struct light *l, struct pulse p, double now_s);

/* Illuminance at time t. */
double light_lux(struct light const *l, double t_s);

/* The ADC's code of the chip's own reference. */
uint16_t light_bandgap_code(struct light const *l);

/* The ADC's code (0 ... 1023) of a sample taken at t; times must not go back. */
uint16_t light_code(struct light *l, double t_s);

#endif
