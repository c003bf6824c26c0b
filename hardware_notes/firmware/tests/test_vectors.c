/* The golden vectors of shared/wire, from their flat text twin. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "crc32.h"
#include "message.h"
#include "receiver.h"
#include "writer.h"

#define LONGEST 66048
#define FIELDS_MOST 20

struct field {
    char name[32];
    char *value;
};

static uint8_t bytes[2 * LONGEST];
static uint8_t buffer[LONGEST];

static size_t from_hex(char const *text, uint8_t *out) {
    size_t n = 0;
    unsigned value;
    if (text[0] == '-') return 0;
    while (sscanf(text + 2 * n, "%2x", &value) == 1) out[n++] = (uint8_t)value;
    return n;
}

static uint32_t crc_of(uint8_t const *data, size_t length) {
    uint32_t crc = ML_CRC32_START;
    for (size_t i = 0; i < length; i++) crc = ml_crc32_byte(crc, data[i]);
    return ~crc;
}

/* ---------------------------------------------------------------------------------------------------- messages */

static char const *field(struct field const *fields, char const *name) {
    for (int i = 0; i < FIELDS_MOST; i++) {
        if (fields[i].value != NULL && strcmp(fields[i].name, name) == 0) return fields[i].value;
    }
    printf("no field %s\n", name);
    CHECK(false);
    return "0";
}

static bool has(struct field const *fields, char const *name) {
    for (int i = 0; i < FIELDS_MOST; i++) {
        if (fields[i].value != NULL && strcmp(fields[i].name, name) == 0) return true;
    }
    return false;
}

static uint32_t number(struct field const *fields, char const *name) {
    return (uint32_t)strtoul(field(fields, name), NULL, 10);
}

#define TAKE(m, name) (m).name = (__typeof__((m).name))number(fields, #name)

static size_t build_identity(struct field const *fields, uint16_t sequence, uint8_t *out) {
    struct ml_identity m = {0};
    char const *at = field(fields, "firmware");
    for (int i = 0; i < 3; i++, at = strchr(at, ',') != NULL ? strchr(at, ',') + 1 : at) {
        m.firmware[i] = (uint8_t)strtoul(at, NULL, 10);
    }
    from_hex(field(fields, "unique_id"), m.unique_id);
    TAKE(m, capabilities);
    TAKE(m, adc_bits);
    TAKE(m, ring);
    TAKE(m, interval_ns);
    TAKE(m, ranges);
    m.name_length = (uint8_t)from_hex(field(fields, "name"), m.name);
    size_t const length = ml_put_identity(out, sequence, &m);
    out[4] = (uint8_t)number(fields, "minor"); /* ours is always 0 */
    return length;
}

static size_t build_steady(struct field const *fields, uint16_t sequence, uint8_t *out) {
    struct ml_steady m;
    TAKE(m, time_ms);
    TAKE(m, range);
    TAKE(m, flags);
    TAKE(m, sum);
    TAKE(m, count);
    TAKE(m, min);
    TAKE(m, max);
    TAKE(m, distance_mm);
    return ml_put_steady(out, sequence, &m);
}

static size_t build_pop(struct field const *fields, uint16_t sequence, uint8_t *out) {
    struct ml_pop m;
    TAKE(m, time_ms);
    TAKE(m, pop);
    TAKE(m, range);
    TAKE(m, flags);
    TAKE(m, lost);
    return ml_put_pop(out, sequence, &m);
}

static size_t build_block(struct field const *fields, uint16_t sequence, uint8_t *out) {
    struct ml_block m = {0};
    TAKE(m, time_ms);
    TAKE(m, pop);
    TAKE(m, range);
    TAKE(m, flags);
    TAKE(m, sample_bytes);
    TAKE(m, scale_bits);
    TAKE(m, pretrigger);
    TAKE(m, distance_mm);
    for (char const *at = field(fields, "segments"); at != NULL; at = strchr(at, ',')) {
        unsigned count, interval_ns;
        if (*at == ',') at++;
        CHECK(sscanf(at, "%u:%u", &count, &interval_ns) == 2);
        m.segments[m.segment_count].count = (uint16_t)count;
        m.segments[m.segment_count++].interval_ns = interval_ns;
    }
    size_t length = ml_put_block(out, sequence, &m);
    for (char const *at = field(fields, "samples"); at != NULL; at = strchr(at, ',')) {
        if (*at == ',') at++;
        unsigned long const sample = strtoul(at, NULL, 10);
        out[length++] = (uint8_t)sample;
        if (m.sample_bytes == 2) out[length++] = (uint8_t)(sample >> 8);
    }
    return length;
}

static size_t build_status(struct field const *fields, uint16_t sequence, uint8_t *out) {
    struct ml_status m = {0};
    if (has(fields, "overruns")) return 0; /* this sensor has no thermometer */
    TAKE(m, uptime_ms);
    TAKE(m, range);
    TAKE(m, flags);
    TAKE(m, baseline);
    TAKE(m, threshold);
    TAKE(m, pretrigger);
    TAKE(m, interval_ns);
    TAKE(m, pops_seen);
    TAKE(m, pops_lost);
    TAKE(m, frames_refused);
    if (has(fields, "reference")) {
        TAKE(m, reference);
        TAKE(m, reference_by_design);
        TAKE(m, reference_tolerance);
    }
    return ml_put_status(out, sequence, &m);
}

/* The message that the core makes of the fields; 0 for the types that this sensor neither has nor sends. */
static size_t build(unsigned type, struct field const *fields, uint16_t sequence, uint8_t *out) {
    switch (type) {
        case ML_IDENTITY: return build_identity(fields, sequence, out);
        case ML_STEADY: return build_steady(fields, sequence, out);
        case ML_POP: return build_pop(fields, sequence, out);
        case ML_BLOCK: return build_block(fields, sequence, out);
        case ML_STATUS: return build_status(fields, sequence, out);
        case ML_REPLY:
            return ml_put_reply(out, sequence, (uint8_t)number(fields, "command"),
                                (uint16_t)number(fields, "its_sequence"), (uint8_t)number(fields, "code"));
        default: return 0;
    }
}

/* Frame it in three uneven pieces, as a block is sent from a ring. */
static size_t write_frame(uint8_t const *message, size_t length, uint8_t *out) {
    struct ml_writer w;
    size_t n = 0;
    uint16_t const first = (uint16_t)(length / 3), second = (uint16_t)(length / 2 - first);
    ml_writer_init(&w);
    ml_writer_begin(&w, message, first, message + first, second, message + first + second,
                    (uint16_t)(length - first - second));
    while (ml_writer_next(&w, out + n)) n++;
    return n;
}

struct message_vector {
    char name[64];
    unsigned type, sequence;
    char *message;
    char *frame;
    struct field fields[FIELDS_MOST];
    int field_count;
};

static int messages_run, messages_built, streams_run;

static void run_message(struct message_vector *v) {
    static uint8_t message[LONGEST], frame[2 * LONGEST], made[2 * LONGEST];
    if (v->message == NULL) return;
    size_t const length = from_hex(v->message, message);
    size_t const frame_length = from_hex(v->frame, frame);
    bool good = CHECK_EQUAL(frame_length, write_frame(message, length, made));
    good &= CHECK(memcmp(frame, made, frame_length) == 0);
    size_t const built = build(v->type, v->fields, (uint16_t)v->sequence, made);
    if (built != 0) {
        messages_built++;
        good &= CHECK_EQUAL(length, built);
        good &= CHECK(memcmp(message, made, length) == 0);
    }
    struct ml_receiver r;
    ml_receiver_init(&r, buffer, sizeof buffer);
    enum ml_received last = ML_NOTHING;
    for (size_t i = 0; i < frame_length; i++) last = ml_receiver_take(&r, frame[i]);
    good &= CHECK_EQUAL(ML_MESSAGE, last);
    good &= CHECK_EQUAL(length, r.length);
    good &= CHECK(memcmp(buffer, message, length) == 0);
    if (!good) printf("  in message %s\n", v->name);
    messages_run++;
    free(v->message);
    free(v->frame);
    for (int i = 0; i < v->field_count; i++) free(v->fields[i].value);
    memset(v, 0, sizeof *v);
}

/* ----------------------------------------------------------------------------------------------------- streams */

/* Next verified message of the list `type:sequence:length:crc,...`; moves on. */
static bool expected(char **list, uint8_t const *message, size_t length) {
    unsigned type, sequence, wanted_length, crc;
    if (sscanf(*list, "%u:%u:%u:%x", &type, &sequence, &wanted_length, &crc) != 4) return false;
    if (message[1] != type || ml_get_u16(message + 2) != sequence || length != wanted_length ||
        crc_of(message, length) != crc) {
        return false;
    }
    char *const comma = strchr(*list, ',');
    *list = comma != NULL ? comma + 1 : *list + strlen(*list);
    return true;
}

static void run_stream(char *line) {
    char name[64], to[16];
    int cobs, length, crc, body, version, type, at = 0;
    if (!CHECK(sscanf(line, "%63s %15s %d %d %d %d %d %d %n", name, to, &cobs, &length, &crc, &body, &version, &type,
                      &at) == 8)) {
        return;
    }
    char *frames = line + at;
    char *parts = strchr(frames, ' ');
    *parts++ = '\0';
    struct ml_receiver r;
    ml_receiver_init(&r, buffer, sizeof buffer);
    int counts[ML_BAD_VERSION + 1] = {0}, others = 0;
    for (char *part = strtok(parts, ","); part != NULL; part = strtok(NULL, ",")) {
        size_t const n = from_hex(part, bytes);
        unsigned long const times = strtoul(strchr(part, '*') + 1, NULL, 10);
        for (unsigned long t = 0; t < times; t++) {
            for (size_t i = 0; i < n; i++) {
                enum ml_received const got = ml_receiver_take(&r, bytes[i]);
                counts[got]++;
                /* Verified but not delivered: of an unknown type, or with a body that its reader refuses. */
                if (got == ML_MESSAGE && !expected(&frames, buffer, r.length)) others++;
            }
        }
    }
    bool good = CHECK(*frames == '\0' || *frames == '-');
    good &= CHECK_EQUAL(cobs, counts[ML_BAD_COBS]);
    good &= CHECK_EQUAL(length, counts[ML_BAD_LENGTH]);
    good &= CHECK_EQUAL(crc, counts[ML_BAD_CRC]);
    good &= CHECK_EQUAL(version, counts[ML_BAD_VERSION]);
    good &= CHECK_EQUAL(body + type, others);
    if (!good) printf("  in stream %s\n", name);
    streams_run++;
}

/* ------------------------------------------------------------------------------------------------------- file */

/* A published pair: what the receiver has decoded when all but the ending 0x00 has come. */
static void run_cobs(char *line) {
    static uint8_t decoded[512];
    char *const space = strchr(line, ' ');
    *space = '\0';
    size_t const length = from_hex(line, decoded), n = from_hex(space + 1, bytes);
    struct ml_receiver r;
    ml_receiver_init(&r, buffer, sizeof buffer);
    for (size_t i = 0; i < n; i++) CHECK_EQUAL(ML_NOTHING, ml_receiver_take(&r, bytes[i]));
    CHECK_EQUAL(length, r.length);
    CHECK(memcmp(decoded, buffer, length) == 0);
    CHECK_EQUAL(0, r.group_left);
}

static void take_line(char *line, struct message_vector *v) {
    if (strncmp(line, "field ", 6) == 0) {
        char *const value = strchr(line + 6, ' ');
        struct field *const f = &v->fields[v->field_count++];
        if (!CHECK(value != NULL && v->field_count <= FIELDS_MOST)) return;
        *value = '\0';
        snprintf(f->name, sizeof f->name, "%s", line + 6);
        f->value = strdup(value + 1);
        return;
    }
    run_message(v);
    if (strncmp(line, "message ", 8) == 0) {
        int at = 0;
        CHECK(sscanf(line + 8, "%63s %*s %u %u %n", v->name, &v->type, &v->sequence, &at) == 3);
        char *const space = strchr(line + 8 + at, ' ');
        *space = '\0';
        v->message = strdup(line + 8 + at);
        v->frame = strdup(space + 1);
    } else if (strncmp(line, "stream ", 7) == 0) {
        run_stream(line + 7);
    } else if (strncmp(line, "crc ", 4) == 0) {
        char *const space = strrchr(line, ' ');
        *space = '\0';
        size_t const n = from_hex(line + 4, bytes);
        CHECK_EQUAL(strtoul(space + 1, NULL, 16), crc_of(bytes, n));
    } else if (strncmp(line, "cobs ", 5) == 0) {
        run_cobs(line + 5);
    }
}

void test_vectors(char const *path) {
    FILE *const file = fopen(path, "r");
    if (!CHECK(file != NULL)) return;
    struct message_vector v = {0};
    char *line = NULL;
    size_t room = 0;
    ssize_t n;
    while ((n = getline(&line, &room, file)) > 0) {
        line[n - 1] = '\0';
        take_line(line, &v);
    }
    run_message(&v);
    free(line);
    fclose(file);
    printf("%d messages (%d built from their fields), %d streams\n", messages_run, messages_built, streams_run);
    CHECK(messages_run >= 30 && messages_built >= 20 && streams_run >= 60);
}
