#include "message.h"

uint8_t *ml_put_u16(uint8_t *at, uint16_t value) {
    *at++ = (uint8_t)value;
    *at++ = (uint8_t)(value >> 8);
    return at;
}

uint8_t *ml_put_u32(uint8_t *at, uint32_t value) {
    at = ml_put_u16(at, (uint16_t)value);
    return ml_put_u16(at, (uint16_t)(value >> 16));
}

uint16_t ml_get_u16(uint8_t const *at) { return (uint16_t)(at[0] | (uint16_t)at[1] << 8); }

uint32_t ml_get_u32(uint8_t const *at) { return ml_get_u16(at) | (uint32_t)ml_get_u16(at + 2) << 16; }

static uint8_t *put_header(uint8_t *at, uint8_t type, uint16_t sequence) {
    *at++ = ML_VERSION;
    *at++ = type;
    return ml_put_u16(at, sequence);
}

static uint8_t *put_bytes(uint8_t *at, uint8_t const *bytes, uint8_t count) {
    while (count-- != 0) *at++ = *bytes++;
    return at;
}

uint16_t ml_put_identity(uint8_t *out, uint16_t sequence, struct ml_identity const *m) {
    uint8_t *at = put_header(out, ML_IDENTITY, sequence);
    *at++ = ML_MINOR;
    at = put_bytes(at, m->firmware, sizeof m->firmware);
    at = put_bytes(at, m->unique_id, sizeof m->unique_id);
    at = ml_put_u16(at, m->capabilities);
    *at++ = m->adc_bits;
    at = ml_put_u16(at, m->ring);
    at = ml_put_u32(at, m->interval_ns);
    *at++ = m->ranges;
    *at++ = m->name_length;
    at = put_bytes(at, m->name, m->name_length);
    return (uint16_t)(at - out);
}

uint16_t ml_put_steady(uint8_t *out, uint16_t sequence, struct ml_steady const *m) {
    uint8_t *at = put_header(out, ML_STEADY, sequence);
    at = ml_put_u32(at, m->time_ms);
    *at++ = m->range;
    *at++ = m->flags;
    at = ml_put_u32(at, m->sum);
    at = ml_put_u16(at, m->count);
    at = ml_put_u16(at, m->min);
    at = ml_put_u16(at, m->max);
    at = ml_put_u16(at, m->distance_mm);
    return (uint16_t)(at - out);
}

uint16_t ml_put_pop(uint8_t *out, uint16_t sequence, struct ml_pop const *m) {
    uint8_t *at = put_header(out, ML_POP, sequence);
    at = ml_put_u32(at, m->time_ms);
    at = ml_put_u16(at, m->pop);
    *at++ = m->range;
    *at++ = m->flags;
    at = ml_put_u16(at, m->lost);
    return (uint16_t)(at - out);
}

uint16_t ml_put_block(uint8_t *out, uint16_t sequence, struct ml_block const *m) {
    uint8_t *at = put_header(out, ML_BLOCK, sequence);
    at = ml_put_u32(at, m->time_ms);
    at = ml_put_u16(at, m->pop);
    *at++ = m->range;
    *at++ = m->flags;
    *at++ = m->sample_bytes;
    *at++ = m->scale_bits;
    at = ml_put_u16(at, m->pretrigger);
    at = ml_put_u16(at, m->distance_mm);
    *at++ = m->segment_count;
    for (uint8_t i = 0; i < m->segment_count; i++) {
        at = ml_put_u16(at, m->segments[i].count);
        at = ml_put_u32(at, m->segments[i].interval_ns);
    }
    return (uint16_t)(at - out);
}

uint16_t ml_put_status(uint8_t *out, uint16_t sequence, struct ml_status const *m) {
    uint8_t *at = put_header(out, ML_STATUS, sequence);
    at = ml_put_u32(at, m->uptime_ms);
    *at++ = m->range;
    *at++ = m->flags;
    at = ml_put_u16(at, m->baseline);
    at = ml_put_u16(at, m->threshold);
    at = ml_put_u16(at, m->pretrigger);
    at = ml_put_u32(at, m->interval_ns);
    at = ml_put_u16(at, m->pops_seen);
    at = ml_put_u16(at, m->pops_lost);
    at = ml_put_u16(at, m->frames_refused);
    if (m->reference_by_design != 0) {
        at = ml_put_u16(at, m->reference);
        at = ml_put_u16(at, m->reference_by_design);
        at = ml_put_u16(at, m->reference_tolerance);
    }
    return (uint16_t)(at - out);
}

uint16_t ml_put_reply(uint8_t *out, uint16_t sequence, uint8_t command, uint16_t its_sequence, uint8_t code) {
    uint8_t *at = put_header(out, ML_REPLY, sequence);
    *at++ = command;
    at = ml_put_u16(at, its_sequence);
    *at++ = code;
    return (uint16_t)(at - out);
}
