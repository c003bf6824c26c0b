#include "light.h"

#include <math.h>
#include <string.h>

#define FULL_CODE 1023
#define GAUSSIAN_REACH 6.0 /* standard deviations that are drawn */
#define DECAY_REACH 40.0   /* time constants until nothing is left */
#define FILTER_STEPS_S 1e-6
#define DESIGN_V 5.0
#define REFERENCE_OF_SUPPLY (4.8307 / 5.0)

void light_init(struct light *l) {
    memset(l, 0, sizeof *l);
    l->full_scale_lx[0] = 2e6;
    l->full_scale_lx[1] = 2e5;
    l->flicker_hz = 100;
    l->hum_hz = 50;
    l->pole_s = 2e-6;
    l->supply_v = DESIGN_V;
    l->bandgap_v = 1.1;
    l->range = -1;
    light_seed(l, 1);
}

void light_seed(struct light *l, uint64_t seed) {
    l->random = seed;
    l->spare_ready = false;
}

/* splitmix64: the same numbers on every machine. */
static double uniform(struct light *l) {
    uint64_t z = (l->random += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    z ^= z >> 31;
    return ((double)(z >> 11) + 0.5) / 9007199254740992.0;
}

static double gaussian(struct light *l) {
    if (l->spare_ready) {
        l->spare_ready = false;
        return l->spare;
    }
    double const r = sqrt(-2 * log(uniform(l)));
    double const angle = 2 * M_PI * uniform(l);
    l->spare = r * sin(angle);
    l->spare_ready = true;
    return r * cos(angle);
}

static double double_exponential(struct pulse const *p, double t_s) {
    double const rise = p->rise_s > 0 ? exp(-t_s / p->rise_s) : 0;
    return p->scale * (exp(-t_s / p->decay_s) - rise);
}

static double one_pulse(struct pulse const *p, double t_s) {
    switch (p->shape) {
        case SHAPE_DOUBLE_EXPONENTIAL:
            if (t_s < 0) return 0;
            if (p->cut_s <= 0 || t_s < p->cut_s) return double_exponential(p, t_s);
            if (p->fall_s <= 0) return 0;
            return double_exponential(p, p->cut_s) * exp(-(t_s - p->cut_s) / p->fall_s);
        case SHAPE_RECTANGLE: {
            double const outside = t_s < 0 ? -t_s : t_s > p->width_s ? t_s - p->width_s : 0;
            if (outside <= 0) return p->peak_lx;
            return outside < p->edge_s ? p->peak_lx * (1 - outside / p->edge_s) : 0;
        }
        case SHAPE_GAUSSIAN: return p->peak_lx * exp(-t_s * t_s / (2 * p->width_s * p->width_s));
    }
    return 0;
}

bool light_add_pulse(struct light *l, struct pulse p, double now_s) {
    unsigned kept = 0;
    for (unsigned i = 0; i < l->pulse_count; i++) {
        if (l->pulses[i].end_s >= now_s) l->pulses[kept++] = l->pulses[i];
    }
    l->pulse_count = kept;
    if (kept == PULSES_MOST) return false;
    p.begin_s = p.at_s;
    switch (p.shape) {
        case SHAPE_DOUBLE_EXPONENTIAL: {
            double top = 1;
            if (p.rise_s > 0) {
                double const t = p.rise_s * p.decay_s / (p.decay_s - p.rise_s) * log(p.decay_s / p.rise_s);
                top = exp(-t / p.decay_s) - exp(-t / p.rise_s);
            }
            p.scale = p.peak_lx / top;
            p.length_s = p.cut_s > 0 ? p.cut_s + DECAY_REACH * p.fall_s : DECAY_REACH * p.decay_s;
            break;
        }
        case SHAPE_RECTANGLE:
            p.begin_s -= p.edge_s;
            p.length_s = p.width_s + p.edge_s;
            break;
        case SHAPE_GAUSSIAN:
            p.begin_s -= GAUSSIAN_REACH * p.width_s;
            p.length_s = GAUSSIAN_REACH * p.width_s;
            break;
    }
    if (p.count == 0) p.count = 1;
    p.end_s = p.at_s + (p.count - 1) * p.period_s + p.length_s;
    l->pulses[l->pulse_count++] = p;
    return true;
}

static double train(struct pulse const *p, double t_s) {
    double const since = t_s - p->at_s;
    if (p->count == 1) return one_pulse(p, since);
    double const before = p->at_s - p->begin_s;
    /* Only the pulses that reach to this moment: the others of a long train cost nothing. */
    double const first = ceil((since - p->length_s) / p->period_s);
    double const last = floor((since + before) / p->period_s);
    double sum = 0;
    for (double i = fmax(first, 0); i <= fmin(last, p->count - 1.0); i++) sum += one_pulse(p, since - i * p->period_s);
    return sum;
}

static bool quiet(struct light const *l, double from_s, double to_s) {
    for (unsigned i = 0; i < l->pulse_count; i++) {
        if (l->pulses[i].begin_s <= to_s && l->pulses[i].end_s >= from_s) return false;
    }
    return true;
}

double light_lux(struct light const *l, double t_s) {
    double lux = l->ambient_lx;
    if (l->flicker_depth != 0) lux *= 1 + l->flicker_depth * sin(2 * M_PI * l->flicker_hz * t_s);
    for (unsigned i = 0; i < l->pulse_count; i++) {
        struct pulse const *const p = &l->pulses[i];
        if (t_s >= p->begin_s && t_s <= p->end_s) lux += train(p, t_s);
    }
    return lux > 0 ? lux : 0;
}

static double input(struct light const *l, double t_s) {
    if (l->range < 0) return 0;
    return light_lux(l, t_s) / l->full_scale_lx[l->range] * (1 + l->gain_error[l->range]);
}

/* One pole, stepped finely enough that the input is straight within a step; at one go while nothing moves. */
static double amplified(struct light *l, double t_s) {
    double const from_s = l->filtered_at_s;
    double const span_s = t_s - from_s;
    l->filtered_at_s = t_s;
    if (l->pole_s <= 0 || span_s <= 0) return l->filtered = l->pole_s <= 0 ? input(l, t_s) : l->filtered;
    unsigned const steps = quiet(l, from_s, t_s) ? 1 : (unsigned)ceil(span_s / FILTER_STEPS_S);
    double const step_s = span_s / steps;
    double const keep = exp(-step_s / l->pole_s);
    for (unsigned i = 0; i < steps; i++) {
        double const x = input(l, from_s + (i + 0.5) * step_s);
        l->filtered = x + (l->filtered - x) * keep;
    }
    return l->filtered;
}

static uint16_t code_of(double v) {
    double const code = floor(v * (FULL_CODE + 1));
    return code < 0 ? 0 : code > FULL_CODE ? FULL_CODE : (uint16_t)code;
}

uint16_t light_code(struct light *l, double t_s) {
    double v = amplified(l, t_s);
    if (v > l->supply_v / DESIGN_V) v = l->supply_v / DESIGN_V; /* the amplifier's rail */
    v *= DESIGN_V / l->supply_v;
    v += l->nonlinearity * v * v + l->offset;
    if (l->hum != 0) v += l->hum * sin(2 * M_PI * l->hum_hz * t_s);
    if (l->noise > 0) v += l->noise * gaussian(l);
    return code_of(v);
}

uint16_t light_bandgap_code(struct light const *l) { return code_of(l->bandgap_v / (l->supply_v * REFERENCE_OF_SUPPLY)); }
