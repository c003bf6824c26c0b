/* A message -> the bytes of its frame, one at a time, without a copy of the message.
 *
 * COBS wants to know how far the next zero is before it may send a group, and a block of a flash is longer than the
 * memory that is left beside it.  So the message stays where it is, as up to three pieces, and is read twice: once by
 * a cursor that runs over the group to come, counts and feeds the CRC, and once when the bytes go out.  The first takes
 * a while for 254 bytes; what waits in the chip's buffer for the line bridges it. */
#ifndef METERLINK_WRITER_H
#define METERLINK_WRITER_H

#include <stdbool.h>
#include <stdint.h>

#define ML_PIECES 4 /* three of the caller's and the CRC */

struct ml_cursor {
    uint8_t const *at;
    uint16_t left;      /* bytes left of the piece */
    uint8_t next_piece; /* ML_PIECES: this is the last one */
};

struct ml_writer {
    struct {
        uint8_t const *data;
        uint16_t length;
    } pieces[ML_PIECES];
    uint8_t crc_bytes[4];
    uint32_t crc;
    struct ml_cursor scan;
    struct ml_cursor emit;
    uint8_t group_left; /* data bytes still to send of the group under way */
    uint8_t group_end;  /* how it ends, see writer.c */
    bool running;
};

/* No frame under way. */
void ml_writer_init(struct ml_writer *w);

/* Begin a frame of the message that the pieces make up, in order; a piece of length 0 is skipped.  Any frame under way
 * is forgotten.  The pieces belong to the caller, who must not change them before the writer is idle. */
void ml_writer_begin(struct ml_writer *w, uint8_t const *a, uint16_t a_length, uint8_t const *b, uint16_t b_length,
                     uint8_t const *c, uint16_t c_length);

/* True while a frame is under way. */
bool ml_writer_busy(struct ml_writer const *w);

/* The next byte of the frame in *byte; false when there is none left.  The last one is the 0x00. */
bool ml_writer_next(struct ml_writer *w, uint8_t *byte);

#endif
