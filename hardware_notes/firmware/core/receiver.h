/* Bytes from the line -> verified messages of wire format v1. */
#ifndef METERLINK_RECEIVER_H
#define METERLINK_RECEIVER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum ml_received {
    ML_NOTHING,      /* no frame has ended */
    ML_MESSAGE,      /* a message stands in the buffer, `length` bytes, CRC already taken off */
    ML_BAD_COBS,     /* a code byte pointed beyond the end of the frame */
    ML_BAD_LENGTH,   /* shorter than a header and a CRC, or longer than the buffer */
    ML_BAD_CRC,
    ML_BAD_VERSION,  /* verified, but of a version that is not 1 */
};

struct ml_receiver {
    uint8_t *buffer;
    size_t capacity;
    size_t length;      /* decoded bytes; after ML_MESSAGE those of the message */
    uint8_t group_left; /* data bytes still to come in this COBS group */
    bool zero_owed;     /* the group before was not a full one: a 0x00 belongs before the next byte */
    bool begun;
    bool too_long;
};

/* Begin with an empty frame.  The buffer is the caller's and holds a decoded frame with its CRC: `capacity` is the
 * longest that will be taken, at least 8. */
void ml_receiver_init(struct ml_receiver *r, uint8_t *buffer, size_t capacity);

/* Take one byte from the line.  Anything but ML_NOTHING is told once, at the 0x00 that ends a frame; two 0x00 in a row
 * are nothing.  The message stays in the buffer until the next byte is taken.  After damage of any kind the receiver
 * is in step again with the next frame. */
enum ml_received ml_receiver_take(struct ml_receiver *r, uint8_t byte);

#endif
