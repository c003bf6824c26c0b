/* What a Bluetooth LE board adds to the core, without any of the board: conversions in, notifications out.
 *
 * Caller-owned state, no heap, no waiting.  The board's file (board_nrf52.c) and the host's test drive the same. */
#ifndef METERLINK_BLE_LINK_H
#define METERLINK_BLE_LINK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "capture.h"
#include "device.h"

/* ATT_MTU 247 less 3: what one radio packet carries with data length extension. */
#define ML_BLE_CHUNK_MOST 244
/* ATT_MTU 23 less 3: what every link carries. */
#define ML_BLE_CHUNK_LEAST 20

struct ml_ble_link {
    uint8_t chunk[ML_BLE_CHUNK_MOST];
    uint16_t length;
    bool listening;
};

void ml_ble_link_init(struct ml_ble_link *link);

/* The host switched notifications on or off.  On: the first byte is one 0x00, which ends what was before. */
void ml_ble_link_listen(struct ml_ble_link *link, bool on);

/* Collect bytes for one notification of at most `payload_most` bytes.  Returns the number of bytes in link->chunk, which
 * stay there, whatever is called, until ml_ble_link_sent().  While nobody listens the device's bytes are dropped and 0 is
 * returned.  A payload_most out of range is taken for the nearest that is possible. */
uint16_t ml_ble_link_fill(struct ml_ble_link *link, struct ml_device *device, uint16_t payload_most);

/* The radio has taken the chunk.  Not called when it had no room: the chunk is offered again. */
void ml_ble_link_sent(struct ml_ble_link *link);

/* Conversions of 10 bits from a converter that may read a little below zero, oldest first; called from its interrupt. */
void ml_ble_take(struct ml_sensor *sensor, int16_t const *conversions, size_t count);

#endif
