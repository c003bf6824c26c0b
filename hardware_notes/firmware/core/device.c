#include "device.h"

#define CODE_SHIFT (16 - ML_ADC_BITS) /* left-adjusted codes back to their 10 bits */
#define CODE_FULL ((1 << ML_ADC_BITS) - 1)
/* A window holds at most 65,535 conversions (0.85 s): a longer one is begun anew, at 1 Hz and when steady is off. */
#define WINDOW_LONGEST_MS 500
/* From the trigger to a full ring, at factor 1. */
#define CAPTURE_MS ((ML_STRETCHES * ML_STRETCH_SAMPLES(0) * ML_CONVERSION_NS + 500000) / 1000000)

static void answer(struct ml_device *d, uint8_t command, uint16_t its_sequence, uint8_t code) {
    struct ml_answer *const a = &d->answers[(d->answer_first + d->answer_count) % ML_ANSWERS];
    a->command = command;
    a->its_sequence = its_sequence;
    a->code = code;
    d->answer_count++;
}

void ml_device_init(struct ml_device *d, struct ml_hardware const *hardware, struct ml_sensor *sensor,
                    uint8_t const *unique_id, uint8_t const *name, uint8_t name_length) {
    static struct ml_identity const fixed = {
        .firmware = ML_FIRMWARE_VERSION,
        .capabilities = ML_CAN_FLASH | ML_CAN_STEADY | ML_CAN_SWITCH_INTERVAL,
        .adc_bits = ML_ADC_BITS,
        .ring = ML_RING,
        .interval_ns = ML_CONVERSION_NS,
        .ranges = ML_RANGES,
    };
    d->hardware = hardware;
    d->sensor = sensor;
    d->identity = fixed;
    for (uint8_t i = 0; i < ML_UNIQUE_ID_LENGTH; i++) d->identity.unique_id[i] = unique_id[i];
    d->identity.name_length = name_length < ML_NAME_LONGEST ? name_length : ML_NAME_LONGEST;
    for (uint8_t i = 0; i < d->identity.name_length; i++) d->identity.name[i] = name[i];
    ml_receiver_init(&d->receiver, d->received, sizeof d->received);
    ml_writer_init(&d->writer);
    d->answer_first = d->answer_count = 0;
    d->range = 0;
    d->steady_period_ms = 1000 / ML_STEADY_HZ_START;
    d->armed = true;
    d->switched = d->held_noted = d->pop_told = d->block_sending = false;
    d->held_range = d->held_shift = d->held_flags = 0;
    d->held_ms = 0;
    d->now_ms = d->steady_ms = d->window_ms = 0;
    d->sequence = 0;
    d->kept = 0;
    d->refused = 0;
    d->reference = 0;
    answer(d, ML_IDENTIFY, 0, ML_DONE);
    hardware->set_range(0);
    hardware->lock();
    ml_sensor_init(sensor);
    ml_sensor_arm(sensor);
    hardware->unlock();
}

/* ------------------------------------------------------------------------------------------------- commands */

/* What must be known of a capture that has just been completed, before a command changes it.  Call it locked. */
static void note_held(struct ml_device *d) {
    struct ml_sensor const *const s = d->sensor;
    if (d->held_noted || s->state != ML_HELD) return;
    d->held_noted = true;
    d->held_range = d->range;
    d->held_shift = (uint8_t)(s->sample_shift - (ML_STRETCHES - 1));
    d->held_flags = s->peak == ML_FULL_SCALE_8 ? ML_FLAG_CLIPPED : 0;
    d->held_ms = d->now_ms - ((uint32_t)CAPTURE_MS << d->held_shift);
}

static uint8_t set_range(struct ml_device *d, uint8_t range) {
    if (range >= ML_RANGES) return ML_NOT_POSSIBLE;
    if (range == d->range) return ML_DONE;
    struct ml_sensor *const s = d->sensor;
    struct ml_window dropped; /* light of the old range */
    d->hardware->lock();
    note_held(d);
    d->range = range;
    d->hardware->set_range(range);
    (void)ml_sensor_take_window(s, &dropped);
    if (s->state == ML_HELD || s->state == ML_OFF) {
        s->hold = ML_SETTLE_HOLD; /* the step of the level is no pop */
        d->switched = true;
    } else {
        ml_sensor_arm(s);
    }
    d->hardware->unlock();
    d->window_ms = d->now_ms;
    return ML_DONE;
}

static uint8_t arm(struct ml_device *d, uint8_t on, uint16_t threshold) {
    if (on > 1 || (threshold != 0 && threshold < ML_THRESHOLD_LEAST)) return ML_NOT_POSSIBLE;
    d->hardware->lock();
    if (threshold != 0) ml_sensor_set_threshold(d->sensor, (uint8_t)(threshold >> 8));
    if (!on) {
        ml_sensor_disarm(d->sensor);
    } else if (d->sensor->state == ML_OFF) {
        ml_sensor_arm(d->sensor);
    }
    d->hardware->unlock();
    d->armed = on != 0;
    return ML_DONE;
}

static uint8_t set_interval(struct ml_device *d, uint8_t factor) {
    uint8_t shift = 0;
    while (shift <= ML_FACTOR_SHIFT_MOST && (1 << shift) != factor) shift++;
    if (shift > ML_FACTOR_SHIFT_MOST) return ML_NOT_POSSIBLE;
    uint8_t code = ML_DONE;
    d->hardware->lock();
    if (d->sensor->state == ML_CAPTURE) {
        code = ML_BUSY;
    } else {
        ml_sensor_set_factor(d->sensor, shift);
        if (d->sensor->state != ML_OFF && d->sensor->state != ML_HELD) ml_sensor_arm(d->sensor);
    }
    d->hardware->unlock();
    return code;
}

static bool take_window(struct ml_device *d, struct ml_window *out, uint32_t now_ms) {
    d->hardware->lock();
    bool const some = ml_sensor_take_window(d->sensor, out);
    d->hardware->unlock();
    d->window_ms = now_ms;
    return some;
}

static uint8_t set_steady(struct ml_device *d, uint8_t hz) {
    struct ml_window dropped;
    if (hz > ML_STEADY_HZ_MOST) return ML_NOT_POSSIBLE;
    d->steady_period_ms = (uint16_t)(hz != 0 ? 1000 / hz : 0);
    d->steady_ms = d->now_ms; /* the first window at the new rate is as long as the others */
    (void)take_window(d, &dropped, d->now_ms);
    return ML_DONE;
}

/* An id is given once and never changed, so that a sensor stays the one that it was; its name may be. */
static uint8_t set_identity(struct ml_device *d, uint8_t const *body, uint8_t length) {
    uint8_t const *const name = body + ML_UNIQUE_ID_LENGTH + 1;
    uint8_t const name_length = body[ML_UNIQUE_ID_LENGTH];
    struct ml_identity *const own = &d->identity;
    bool none = true;
    bool same = true;
    bool blank = true;
    for (uint8_t i = 0; i < ML_UNIQUE_ID_LENGTH; i++) {
        none = none && own->unique_id[i] == 0;
        same = same && own->unique_id[i] == body[i];
        /* What an erased memory reads would be taken for none at the next start. */
        blank = blank && (body[i] == 0 || body[i] == 0xFF);
    }
    if (d->hardware->store_identity == 0 || blank || !(none || same) || name_length > ML_NAME_LONGEST ||
        length < ML_UNIQUE_ID_LENGTH + 1 + name_length) {
        return ML_NOT_POSSIBLE;
    }
    for (uint8_t i = 0; i < ML_UNIQUE_ID_LENGTH; i++) own->unique_id[i] = body[i];
    for (uint8_t i = 0; i < name_length; i++) own->name[i] = name[i];
    own->name_length = name_length;
    d->hardware->store_identity(own->unique_id, own->name, name_length);
    return ML_DONE;
}

static uint8_t body_shortest(uint8_t command) {
    switch (command) {
        case ML_SET_RANGE:
        case ML_STEADY_RATE:
        case ML_SET_INTERVAL: return 1;
        case ML_ARM: return 3;
        case ML_SET_IDENTITY: return ML_UNIQUE_ID_LENGTH + 1;
        default: return 0;
    }
}

static void obey(struct ml_device *d, uint8_t const *message, uint8_t length) {
    uint8_t const command = message[1];
    uint8_t const *const body = message + ML_HEADER_LENGTH;
    /* Our own messages, echoed by the line, must not make us answer ourselves. */
    if (command < ML_TO_SENSOR || length < ML_HEADER_LENGTH + body_shortest(command) ||
        d->answer_count == ML_ANSWERS) {
        d->refused++;
        return;
    }
    uint8_t code = ML_DONE;
    switch (command) {
        case ML_IDENTIFY:
        case ML_GET_STATUS: break;
        case ML_SET_RANGE: code = set_range(d, body[0]); break;
        case ML_ARM: code = arm(d, body[0], ml_get_u16(body + 1)); break;
        case ML_STEADY_RATE: code = set_steady(d, body[0]); break;
        case ML_SET_INTERVAL: code = set_interval(d, body[0]); break;
        case ML_SET_IDENTITY: code = set_identity(d, body, (uint8_t)(length - ML_HEADER_LENGTH)); break;
        default: code = ML_UNKNOWN_COMMAND; break;
    }
    answer(d, command, ml_get_u16(message + 2), code);
}

void ml_device_receive(struct ml_device *d, uint8_t byte) {
    switch (ml_receiver_take(&d->receiver, byte)) {
        case ML_NOTHING: break;
        case ML_MESSAGE: obey(d, d->received, (uint8_t)d->receiver.length); break;
        default: d->refused++; break;
    }
}

/* -------------------------------------------------------------------------------------------------- messages */

static void begin(struct ml_device *d, uint16_t length) {
    d->sequence++;
    ml_writer_begin(&d->writer, d->message, length, 0, 0, 0, 0);
}

static uint16_t lost_so_far(struct ml_device *d) {
    d->hardware->lock();
    uint16_t const lost = d->sensor->lost;
    d->hardware->unlock();
    return lost;
}

static void tell_pop(struct ml_device *d) {
    d->kept++;
    struct ml_pop const pop = {
        .time_ms = d->held_ms,
        .pop = d->kept,
        .range = d->held_range,
        .flags = d->held_flags,
        .lost = lost_so_far(d),
    };
    d->pop_told = true;
    begin(d, ml_put_pop(d->message, d->sequence, &pop));
}

static void send_block(struct ml_device *d) {
    struct ml_sensor const *const s = d->sensor;
    struct ml_block block = {
        .time_ms = d->held_ms,
        .pop = d->kept,
        .range = d->held_range,
        .flags = d->held_flags,
        .sample_bytes = 1,
        .scale_bits = 8,
        .pretrigger = ML_PRETRIGGER,
        .distance_mm = ML_DISTANCE_UNKNOWN,
        .segment_count = ML_STRETCHES,
    };
    if (ml_sensor_truncated(s)) block.flags |= ML_FLAG_TRUNCATED;
    for (uint8_t i = 0; i < ML_STRETCHES; i++) {
        block.segments[i].count = ML_STRETCH_SAMPLES(i);
        block.segments[i].interval_ns = ML_CONVERSION_NS << (d->held_shift + i);
    }
    block.segments[0].count += ML_PRETRIGGER;
    uint16_t const oldest = ml_sensor_oldest(s);
    uint16_t const length = ml_put_block(d->message, d->sequence++, &block);
    ml_writer_begin(&d->writer, d->message, length, s->ring + oldest, (uint16_t)(ML_RING - oldest), s->ring, oldest);
    d->block_sending = true;
}

/* False when the window is empty (nothing but a capture, or settling, since the last one). */
static bool send_steady(struct ml_device *d, uint32_t now_ms) {
    struct ml_window w;
    if (!take_window(d, &w, now_ms)) return false;
    struct ml_steady steady = {
        .time_ms = now_ms,
        .range = d->range,
        .flags = (w.max >> CODE_SHIFT) == CODE_FULL ? ML_FLAG_CLIPPED : 0,
        .sum = w.sum >> CODE_SHIFT,
        .count = w.count,
        .min = w.min >> CODE_SHIFT,
        .max = w.max >> CODE_SHIFT,
        .distance_mm = ML_DISTANCE_UNKNOWN,
    };
    if (d->switched) steady.flags |= ML_FLAG_SWITCHED;
    d->switched = false;
    begin(d, ml_put_steady(d->message, d->sequence, &steady));
    return true;
}

/* Not while there is light to be kept: then what was measured last is told. */
static void look_at_reference(struct ml_device *d) {
    if (d->hardware->measure_reference == 0) return;
    d->hardware->lock();
    if (d->sensor->state != ML_CAPTURE && d->sensor->state != ML_HELD) {
        d->reference = d->hardware->measure_reference();
        if (d->sensor->state != ML_OFF) ml_sensor_arm(d->sensor);
    }
    d->hardware->unlock();
}

static uint16_t put_status(struct ml_device *d, uint32_t now_ms) {
    struct ml_sensor *const s = d->sensor;
    d->hardware->lock();
    uint16_t const baseline = s->baseline;
    uint16_t const highest = s->window.max;
    uint8_t const level = s->ring[(s->write - 1) & (ML_RING - 1)];
    d->hardware->unlock();
    uint16_t const lost = lost_so_far(d);
    bool const saturated = (highest >> CODE_SHIFT) == CODE_FULL || (s->state == ML_CAPTURE && level == ML_FULL_SCALE_8);
    look_at_reference(d); /* last: it begins the window anew */
    struct ml_status const status = {
        .uptime_ms = now_ms,
        .range = d->range,
        .flags = (uint8_t)((d->armed ? ML_FLAG_ARMED : 0) | (saturated ? ML_FLAG_SATURATED : 0)),
        .baseline = (uint16_t)(baseline << (8 - ML_BASELINE_SHIFT)),
        .threshold = (uint16_t)((s->threshold_less_1 + 1) << 8),
        .pretrigger = ML_PRETRIGGER,
        .interval_ns = ML_CONVERSION_NS << s->factor_shift,
        .pops_seen = (uint16_t)(d->kept + lost),
        .pops_lost = lost,
        .frames_refused = d->refused,
        .reference = d->reference,
        .reference_by_design = d->hardware->reference_by_design,
        .reference_tolerance = d->hardware->reference_tolerance,
    };
    return ml_put_status(d->message, d->sequence, &status);
}

static void send_answer(struct ml_device *d, uint32_t now_ms) {
    struct ml_answer const a = d->answers[d->answer_first];
    d->answer_first = (uint8_t)((d->answer_first + 1) % ML_ANSWERS);
    d->answer_count--;
    if (a.command == ML_IDENTIFY) {
        begin(d, ml_put_identity(d->message, d->sequence, &d->identity));
    } else if (a.command == ML_GET_STATUS) {
        begin(d, put_status(d, now_ms));
    } else {
        begin(d, ml_put_reply(d->message, d->sequence, a.command, a.its_sequence, a.code));
    }
}

/* True when a STEADY was begun. */
static bool look_after_steady(struct ml_device *d, uint32_t now_ms) {
    if (d->steady_period_ms != 0 && now_ms - d->steady_ms >= d->steady_period_ms) {
        d->steady_ms = now_ms;
        return send_steady(d, now_ms);
    }
    if (now_ms - d->window_ms >= WINDOW_LONGEST_MS) {
        struct ml_window dropped;
        (void)take_window(d, &dropped, now_ms);
    }
    return false;
}

void ml_device_poll(struct ml_device *d, uint32_t now_ms) {
    d->now_ms = now_ms;
    if (!d->held_noted && d->sensor->state == ML_HELD) {
        d->hardware->lock();
        note_held(d);
        d->hardware->unlock();
    }
    if (ml_writer_busy(&d->writer)) return;
    if (d->block_sending) {
        d->block_sending = d->pop_told = d->held_noted = false;
        d->hardware->lock();
        ml_sensor_release(d->sensor, d->armed);
        d->hardware->unlock();
    }
    if (d->held_noted) {
        if (d->pop_told) {
            send_block(d);
        } else {
            tell_pop(d);
        }
        return;
    }
    if (look_after_steady(d, now_ms)) return;
    if (d->answer_count != 0) send_answer(d, now_ms);
}

bool ml_device_transmit(struct ml_device *d, uint8_t *byte) { return ml_writer_next(&d->writer, byte); }
