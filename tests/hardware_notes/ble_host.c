/* Drives the Bluetooth layer's logic and the core from a test: one device, plain functions. */
#include <string.h>

#include "ble_link.h"

static struct ml_sensor sensor;
static struct ml_device device;
static struct ml_ble_link link_state;
static uint8_t range_now;

static void set_range(uint8_t range) { range_now = range; }
static void nothing(void) {}
static struct ml_hardware const hardware = {.set_range = set_range, .lock = nothing, .unlock = nothing};

void host_start(uint8_t const *id) {
    ml_ble_link_init(&link_state);
    ml_device_init(&device, &hardware, &sensor, id, (uint8_t const *)"air dome", 8);
}
void host_listen(int on) { ml_ble_link_listen(&link_state, on != 0); }
void host_receive(uint8_t const *bytes, size_t count) {
    for (size_t i = 0; i < count; i++) ml_device_receive(&device, bytes[i]);
}
void host_take(int16_t const *conversions, size_t count) { ml_ble_take(&sensor, conversions, count); }
void host_poll(uint32_t now_ms) { ml_device_poll(&device, now_ms); }
int host_fill(uint16_t most, uint8_t *out) {
    uint16_t const length = ml_ble_link_fill(&link_state, &device, most);
    memcpy(out, link_state.chunk, length);
    return length;
}
void host_sent(void) { ml_ble_link_sent(&link_state); }
int host_range(void) { return range_now; }
