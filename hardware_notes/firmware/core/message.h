/* Messages of wire format v1 (shared/wire/wire-v1.md) that a sensor sends or obeys, as bytes. */
#ifndef METERLINK_MESSAGE_H
#define METERLINK_MESSAGE_H

#include <stdint.h>

#define ML_VERSION 1
#define ML_MINOR 0
#define ML_HEADER_LENGTH 4

#define ML_IDENTITY 0x01
#define ML_STEADY 0x02
#define ML_POP 0x03
#define ML_BLOCK 0x04
#define ML_STATUS 0x05
#define ML_REPLY 0x0F
#define ML_TO_SENSOR 0x80
#define ML_IDENTIFY 0x81
#define ML_SET_RANGE 0x82
#define ML_ARM 0x83
#define ML_STEADY_RATE 0x84
#define ML_SET_INTERVAL 0x85
#define ML_GET_STATUS 0x86
#define ML_SET_IDENTITY 0x87

#define ML_CAN_FLASH 0x0001
#define ML_CAN_STEADY 0x0002
#define ML_CAN_SWITCH_INTERVAL 0x0020

#define ML_FLAG_CLIPPED 0x01
#define ML_FLAG_SWITCHED 0x02  /* of STEADY */
#define ML_FLAG_TRUNCATED 0x02 /* of BLOCK */
#define ML_FLAG_ARMED 0x01     /* of STATUS */
#define ML_FLAG_SATURATED 0x02 /* of STATUS */

#define ML_DISTANCE_UNKNOWN 0xFFFF
#define ML_UNIQUE_ID_LENGTH 8
#define ML_NAME_LONGEST 32
#define ML_SEGMENTS_MOST 8
/* The longest of the messages below: an IDENTITY with a full name, or the head of a BLOCK with all its segments. */
#define ML_MESSAGE_LONGEST (ML_HEADER_LENGTH + 15 + 6 * ML_SEGMENTS_MOST)

enum ml_reply_code { ML_DONE = 0, ML_UNKNOWN_COMMAND = 1, ML_NOT_POSSIBLE = 2, ML_BUSY = 3 };

struct ml_identity {
    uint8_t firmware[3];
    uint8_t unique_id[ML_UNIQUE_ID_LENGTH];
    uint16_t capabilities;
    uint8_t adc_bits;
    uint16_t ring;
    uint32_t interval_ns;
    uint8_t ranges;
    uint8_t name_length; /* at most ML_NAME_LONGEST */
    uint8_t name[ML_NAME_LONGEST];
};

struct ml_steady {
    uint32_t time_ms;
    uint8_t range;
    uint8_t flags;
    uint32_t sum;
    uint16_t count;
    uint16_t min;
    uint16_t max;
    uint16_t distance_mm;
};

struct ml_pop {
    uint32_t time_ms;
    uint16_t pop;
    uint8_t range;
    uint8_t flags;
    uint16_t lost;
};

struct ml_segment {
    uint16_t count;
    uint32_t interval_ns;
};

struct ml_block {
    uint32_t time_ms;
    uint16_t pop;
    uint8_t range;
    uint8_t flags;
    uint8_t sample_bytes;
    uint8_t scale_bits;
    uint16_t pretrigger;
    uint16_t distance_mm;
    uint8_t segment_count; /* at most ML_SEGMENTS_MOST */
    struct ml_segment segments[ML_SEGMENTS_MOST];
};

struct ml_status {
    uint32_t uptime_ms;
    uint8_t range;
    uint8_t flags;
    uint16_t baseline;
    uint16_t threshold;
    uint16_t pretrigger;
    uint32_t interval_ns;
    uint16_t pops_seen;
    uint16_t pops_lost;
    uint16_t frames_refused;
    uint16_t reference;           /* internal reference as raw value x 65536; 0: not measured */
    uint16_t reference_by_design; /* what it is at the converter's reference that the full scales are designed for;
                                   * 0: there is none, and the three are not sent */
    uint16_t reference_tolerance; /* relative x 65536 */
};

/* Little-endian numbers; each put returns where the next byte goes. */
uint8_t *ml_put_u16(uint8_t *at, uint16_t value);
uint8_t *ml_put_u32(uint8_t *at, uint32_t value);
uint16_t ml_get_u16(uint8_t const *at);
uint32_t ml_get_u32(uint8_t const *at);

/* Each writes one message, header and all, to `out` and returns its length.  `out` is the caller's and holds
 * ML_MESSAGE_LONGEST bytes.  ml_put_block writes everything before the samples. */
uint16_t ml_put_identity(uint8_t *out, uint16_t sequence, struct ml_identity const *m);
uint16_t ml_put_steady(uint8_t *out, uint16_t sequence, struct ml_steady const *m);
uint16_t ml_put_pop(uint8_t *out, uint16_t sequence, struct ml_pop const *m);
uint16_t ml_put_block(uint8_t *out, uint16_t sequence, struct ml_block const *m);
uint16_t ml_put_status(uint8_t *out, uint16_t sequence, struct ml_status const *m);
uint16_t ml_put_reply(uint8_t *out, uint16_t sequence, uint8_t command, uint16_t its_sequence, uint8_t code);

#endif
