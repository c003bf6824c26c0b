#include "writer.h"

#include "compiler.h"
#include "crc32.h"
#include "message.h"

#define CRC_PIECE (ML_PIECES - 1)
#define LONGEST_GROUP 254

/* Ends of a group. */
enum {
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

/* Find the end of the group to come, and its length. */
static uint8_t scan_group(struct ml_writer *w, uint8_t *end) {
    struct ml_cursor *const c = &w->scan;
    uint8_t length = 0;
    *end = AT_FULL;
    while (length != LONGEST_GROUP) {
        if (c->left == 0 && !next_piece(w, c)) {
            *end = AT_END;
            break;
        }
        bool const in_message = c->next_piece <= CRC_PIECE;
        uint8_t const room = (uint8_t)(LONGEST_GROUP - length);
        uint8_t const most = c->left < room ? (uint8_t)c->left : room;
        uint8_t const *at = c->at;
        uint32_t crc = w->crc;
        uint8_t n = 0;
        uint8_t byte = 1;
        while (n != most && byte != 0) {
            byte = *at++;
            n++;
            if (in_message) crc = ml_crc32_byte(crc, byte);
        }
        w->crc = crc;
        c->at = at;
        c->left -= n;
        length = (uint8_t)(length + n);
        if (byte == 0) {
            *end = AT_ZERO;
            length--;
            break;
        }
    }
    return length;
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
    w->group_left = 0;
    w->group_end = AT_ZERO; /* as if a group had ended here: the first one starts with its code byte */
    w->running = true;
}

/* Between two groups: the code byte of the next, or the 0x00 at the end of the frame. */
static uint8_t start_group(struct ml_writer *w) {
    uint8_t const before = w->group_end;
    if (before != AT_END) {
        w->group_left = scan_group(w, &w->group_end);
        /* Data that ended with a full group take no empty one behind it. */
        if (before != AT_FULL || w->group_end != AT_END || w->group_left != 0) return (uint8_t)(w->group_left + 1);
    }
    w->running = false;
    return 0;
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
    return true;
}
