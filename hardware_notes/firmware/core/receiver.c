#include "receiver.h"

#include "crc32.h"
#include "message.h"

#define CRC_LENGTH 4

static void begin(struct ml_receiver *r) {
    r->length = 0;
    r->group_left = 0;
    r->zero_owed = false;
    r->begun = false;
    r->too_long = false;
}

void ml_receiver_init(struct ml_receiver *r, uint8_t *buffer, size_t capacity) {
    r->buffer = buffer;
    r->capacity = capacity;
    begin(r);
}

static void keep(struct ml_receiver *r, uint8_t byte) {
    if (r->length == r->capacity) {
        r->too_long = true;
        return;
    }
    r->buffer[r->length++] = byte;
}

static enum ml_received judge(struct ml_receiver *r) {
    if (r->too_long) return ML_BAD_LENGTH;
    if (r->group_left != 0) return ML_BAD_COBS;
    if (r->length < ML_HEADER_LENGTH + CRC_LENGTH) return ML_BAD_LENGTH;
    size_t const message_length = r->length - CRC_LENGTH;
    uint32_t crc = ML_CRC32_START;
    for (size_t i = 0; i < message_length; i++) crc = ml_crc32_byte(crc, r->buffer[i]);
    if (ml_get_u32(r->buffer + message_length) != (uint32_t)~crc) return ML_BAD_CRC;
    if (r->buffer[0] != ML_VERSION) return ML_BAD_VERSION;
    r->length = message_length;
    return ML_MESSAGE;
}

enum ml_received ml_receiver_take(struct ml_receiver *r, uint8_t byte) {
    if (byte == 0) {
        enum ml_received const result = r->begun ? judge(r) : ML_NOTHING;
        size_t const length = r->length;
        begin(r);
        /* The length is the caller's until the next byte, which starts a frame anew. */
        if (result == ML_MESSAGE) r->length = length;
        return result;
    }
    if (!r->begun) {
        begin(r);
        r->begun = true;
    }
    if (r->group_left != 0) {
        r->group_left--;
        keep(r, byte);
        return ML_NOTHING;
    }
    if (r->zero_owed) keep(r, 0);
    r->group_left = (uint8_t)(byte - 1);
    r->zero_owed = byte != 0xFF;
    return ML_NOTHING;
}
