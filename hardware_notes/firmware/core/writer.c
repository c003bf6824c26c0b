#include "writer.h"

#include "compiler.h"
#include "crc32.h"
#include "message.h"

#define CRC_PIECE (ML_PIECES - 1)
#define LONGEST_GROUP 254

/* Ends of a group. */
enum {
    OPEN,    /* not yet found */
    AT_ZERO, /* a zero of the data follows and is skipped; another group comes */
    AT_FULL, /* 254 bytes; another group comes if there are more data */
    AT_END,  /* of the frame */
};

void ml_writer_init(struct ml_writer *w) { w->running = false; }

bool ml_writer_busy(struct ml_writer const *w) { return w->running; }

/* On to the next piece that has bytes; false at the end of all.  The scan comes first to the CRC, when the message is
 * whole. */
static bool next_piece(struct ml_writer *w, struct ml_cursor *c) {
    while (c->next_piece < ML_PIECES) {
        if (c->next_piece == CRC_PIECE) (void)ml_put_u32(w->crc_bytes, ~w->crc);
        c->at = w->pieces[c->next_piece].data;
        c->left = w->pieces[c->next_piece].length;
        c->next_piece++;
        if (c->left != 0) return true;
    }
    return false;
}

/* Look one byte further for the end of the group to come. */
ML_INLINE void scan_step(struct ml_writer *w) {
    struct ml_cursor *const c = &w->scan;
    if (c->left == 0 && !next_piece(w, c)) {
        w->next_end = AT_END;
        return;
    }
    uint8_t const byte = *c->at++;
    c->left--;
    if (c->next_piece <= CRC_PIECE) w->crc = ml_crc32_byte(w->crc, byte);
    if (byte == 0) {
        w->next_end = AT_ZERO;
    } else if (++w->next_length == LONGEST_GROUP) {
        w->next_end = AT_FULL;
    }
}

/* Two steps ahead for each byte sent: the next group is known by the time that this one is out, and the line never waits
 * for long. */
static void scan_ahead(struct ml_writer *w) {
    for (uint8_t i = 0; i < 2 && w->next_end == OPEN; i++) scan_step(w);
}

/* Take the byte that goes out; the scan has made sure that there is one. */
ML_INLINE uint8_t take(struct ml_writer *w) {
    struct ml_cursor *const c = &w->emit;
    if (c->left == 0) (void)next_piece(w, c);
    c->left--;
    return *c->at++;
}

void ml_writer_begin(struct ml_writer *w, uint8_t const *a, uint16_t a_length, uint8_t const *b, uint16_t b_length,
                     uint8_t const *c, uint16_t c_length) {
    w->pieces[0].data = a;
    w->pieces[0].length = a_length;
    w->pieces[1].data = b;
    w->pieces[1].length = b_length;
    w->pieces[2].data = c;
    w->pieces[2].length = c_length;
    w->pieces[CRC_PIECE].data = w->crc_bytes;
    w->pieces[CRC_PIECE].length = sizeof w->crc_bytes;
    w->crc = ML_CRC32_START;
    w->scan.next_piece = w->emit.next_piece = 0;
    w->scan.left = w->emit.left = 0;
    w->next_length = 0;
    w->next_end = OPEN;
    w->group_left = 0;
    w->group_end = AT_ZERO; /* as if a group had ended here: the first one starts with its code byte */
    w->running = true;
}

/* Between two groups: the code byte of the next, or the 0x00 at the end of the frame. */
static uint8_t start_group(struct ml_writer *w) {
    while (w->next_end == OPEN) scan_ahead(w);
    /* Data that ended with a full group take no empty one behind it. */
    if (w->group_end == AT_END || (w->group_end == AT_FULL && w->next_end == AT_END && w->next_length == 0)) {
        w->running = false;
        return 0;
    }
    uint8_t const code = (uint8_t)(w->next_length + 1);
    w->group_left = w->next_length;
    w->group_end = w->next_end;
    w->next_length = 0;
    w->next_end = w->group_end == AT_END ? AT_END : OPEN;
    return code;
}

bool ml_writer_next(struct ml_writer *w, uint8_t *byte) {
    if (!w->running) return false;
    if (w->group_left != 0) {
        *byte = take(w);
        w->group_left--;
    } else {
        *byte = start_group(w);
        if (!w->running) return true;
    }
    if (w->group_left == 0 && w->group_end == AT_ZERO) (void)take(w); /* the zero that the code byte stood for */
    scan_ahead(w);
    return true;
}
