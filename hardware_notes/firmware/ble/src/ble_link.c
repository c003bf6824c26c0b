#include "ble_link.h"

void ml_ble_link_init(struct ml_ble_link *link) {
    link->length = 0;
    link->listening = false;
}

void ml_ble_link_listen(struct ml_ble_link *link, bool on) {
    link->listening = on;
    link->length = 0;
    if (on) link->chunk[link->length++] = 0;
}

uint16_t ml_ble_link_fill(struct ml_ble_link *link, struct ml_device *device, uint16_t payload_most) {
    uint8_t byte;
    if (!link->listening) {
        while (ml_device_transmit(device, &byte)) {
        }
        return 0;
    }
    uint16_t most = payload_most > ML_BLE_CHUNK_MOST ? ML_BLE_CHUNK_MOST : payload_most;
    if (most < ML_BLE_CHUNK_LEAST) most = ML_BLE_CHUNK_LEAST;
    while (link->length < most && ml_device_transmit(device, &byte)) link->chunk[link->length++] = byte;
    return link->length < most ? link->length : most;
}

void ml_ble_link_sent(struct ml_ble_link *link) { link->length = 0; }

void ml_ble_take(struct ml_sensor *sensor, int16_t const *conversions, size_t count) {
    for (size_t i = 0; i < count; i++) {
        int16_t code = conversions[i];
        if (code < 0) code = 0;
        if (code > 1023) code = 1023;
        ml_sensor_take(sensor, (uint16_t)((uint16_t)code << 6));
    }
}
