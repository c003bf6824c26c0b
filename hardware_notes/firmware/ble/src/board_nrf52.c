/* The thin layer for nRF52840 boards: Zephyr 3.7 with nrfx 3.  Registers, interrupts and radio only; all else is in
 * ble_link.c and ../../core.
 *
 * NEVER RUN ON A BOARD, never compiled with Zephyr: checked by a compiler against declarations of our own only. */
#include <errno.h>
#include <string.h>

#include <nrfx_saadc.h>
#include <zephyr/bluetooth/bluetooth.h>
#include <zephyr/bluetooth/conn.h>
#include <zephyr/bluetooth/gatt.h>
#include <zephyr/bluetooth/uuid.h>
#include <zephyr/drivers/gpio.h>
#include <zephyr/drivers/hwinfo.h>
#include <zephyr/irq.h>
#include <zephyr/kernel.h>

#include "ble_link.h"

/* 16 MHz / 208 = one conversion in 13 us, as ML_CONVERSION_NS says. */
#define SAADC_CYCLES 208
/* 64 conversions, 832 us, in each of two buffers: the interrupt comes 1,200 times a second. */
#define BUFFER 64

static struct ml_sensor sensor;
static struct ml_device device;
static struct ml_ble_link link_state;
static struct bt_conn *host;
static int16_t buffers[2][BUFFER];
static uint8_t next_buffer;
static unsigned int lock_key;

/* Bytes from the host wait here for the main loop: the radio's thread must not work on the device. */
K_MSGQ_DEFINE(received, 1, 256, 1);

static struct gpio_dt_spec const range_bright = GPIO_DT_SPEC_GET(DT_NODELABEL(range_bright), gpios);
static struct gpio_dt_spec const range_dim = GPIO_DT_SPEC_GET(DT_NODELABEL(range_dim), gpios);

/* ------------------------------------------------------------------------------------------ what the core asks for */

static void set_range(uint8_t range) {
    /* Both open for a moment: two closed feedbacks would be a third, nameless range. */
    gpio_pin_set_dt(&range_bright, 0);
    gpio_pin_set_dt(&range_dim, 0);
    gpio_pin_set_dt(range == 0 ? &range_bright : &range_dim, 1);
}

static void lock(void) { lock_key = irq_lock(); }

static void unlock(void) { irq_unlock(lock_key); }

static struct ml_hardware const hardware = {.set_range = set_range, .lock = lock, .unlock = unlock};

/* ------------------------------------------------------------------------------------------------------- converter */

static void converted(nrfx_saadc_evt_t const *event) {
    switch (event->type) {
        case NRFX_SAADC_EVT_DONE:
            ml_ble_take(&sensor, (int16_t const *)event->data.done.p_buffer, event->data.done.size);
            break;
        case NRFX_SAADC_EVT_BUF_REQ:
            (void)nrfx_saadc_buffer_set(buffers[next_buffer], BUFFER);
            next_buffer ^= 1;
            break;
        default:
            break;
    }
}

static int start_converter(void) {
    nrfx_saadc_channel_t channel = NRFX_SAADC_DEFAULT_CHANNEL_SE(NRF_SAADC_INPUT_AIN0, 0);
    channel.channel_config.reference = NRF_SAADC_REFERENCE_INTERNAL; /* 0.6 V */
    channel.channel_config.gain = NRF_SAADC_GAIN1_5;                 /* full scale 3.0 V */
    channel.channel_config.acq_time = NRF_SAADC_ACQTIME_3US;
    nrfx_saadc_adv_config_t advanced = NRFX_SAADC_DEFAULT_ADV_CONFIG;
    advanced.internal_timer_cc = SAADC_CYCLES;
    advanced.start_on_end = true;

    IRQ_CONNECT(DT_IRQN(DT_NODELABEL(adc)), DT_IRQ(DT_NODELABEL(adc), priority), nrfx_isr, nrfx_saadc_irq_handler, 0);
    if (nrfx_saadc_init(DT_IRQ(DT_NODELABEL(adc), priority)) != NRFX_SUCCESS) return -EIO;
    if (nrfx_saadc_channels_config(&channel, 1) != NRFX_SUCCESS) return -EIO;
    if (nrfx_saadc_advanced_mode_set(BIT(0), NRF_SAADC_RESOLUTION_10BIT, &advanced, converted) != NRFX_SUCCESS) return -EIO;
    if (nrfx_saadc_buffer_set(buffers[0], BUFFER) != NRFX_SUCCESS) return -EIO;
    next_buffer = 1;
    return nrfx_saadc_mode_trigger() == NRFX_SUCCESS ? 0 : -EIO;
}

/* ----------------------------------------------------------------------------------------------------------- radio */

#define SERVICE BT_UUID_128_ENCODE(0xded30001, 0xec13, 0x4504, 0xbaae, 0x27cc2e3d87d8)
#define TO_SENSOR BT_UUID_128_ENCODE(0xded30002, 0xec13, 0x4504, 0xbaae, 0x27cc2e3d87d8)
#define FROM_SENSOR BT_UUID_128_ENCODE(0xded30003, 0xec13, 0x4504, 0xbaae, 0x27cc2e3d87d8)

static struct bt_uuid_128 const service_uuid = BT_UUID_INIT_128(SERVICE);
static struct bt_uuid_128 const to_sensor_uuid = BT_UUID_INIT_128(TO_SENSOR);
static struct bt_uuid_128 const from_sensor_uuid = BT_UUID_INIT_128(FROM_SENSOR);

static atomic_t wish; /* 0 nothing, 1 listen, 2 stop: told by the radio's thread, obeyed by the main loop */

static void ccc_changed(struct bt_gatt_attr const *attribute, uint16_t value) {
    ARG_UNUSED(attribute);
    atomic_set(&wish, value == BT_GATT_CCC_NOTIFY ? 1 : 2);
}

static ssize_t written(struct bt_conn *connection, struct bt_gatt_attr const *attribute, void const *data, uint16_t length,
                       uint16_t offset, uint8_t flags) {
    ARG_UNUSED(connection);
    ARG_UNUSED(attribute);
    ARG_UNUSED(offset);
    ARG_UNUSED(flags);
    for (uint16_t i = 0; i < length; i++) {
        /* When the queue is full the frame is damaged: its CRC will tell, and the host asks again. */
        (void)k_msgq_put(&received, (uint8_t const *)data + i, K_NO_WAIT);
    }
    return length;
}

BT_GATT_SERVICE_DEFINE(light, BT_GATT_PRIMARY_SERVICE(&service_uuid),
                       BT_GATT_CHARACTERISTIC(&from_sensor_uuid.uuid, BT_GATT_CHRC_NOTIFY, BT_GATT_PERM_NONE, NULL, NULL, NULL),
                       BT_GATT_CCC(ccc_changed, BT_GATT_PERM_READ | BT_GATT_PERM_WRITE),
                       BT_GATT_CHARACTERISTIC(&to_sensor_uuid.uuid, BT_GATT_CHRC_WRITE | BT_GATT_CHRC_WRITE_WITHOUT_RESP,
                                              BT_GATT_PERM_WRITE, NULL, written, NULL), );

static struct bt_data const advertisement[] = {
    BT_DATA_BYTES(BT_DATA_FLAGS, (BT_LE_AD_GENERAL | BT_LE_AD_NO_BREDR)),
    BT_DATA_BYTES(BT_DATA_UUID128_ALL, SERVICE),
};
static struct bt_data const answer[] = {
    BT_DATA(BT_DATA_NAME_COMPLETE, CONFIG_BT_DEVICE_NAME, sizeof(CONFIG_BT_DEVICE_NAME) - 1),
};

static void connected(struct bt_conn *connection, uint8_t error) {
    if (error == 0) host = bt_conn_ref(connection);
}

static void disconnected(struct bt_conn *connection, uint8_t reason) {
    ARG_UNUSED(connection);
    ARG_UNUSED(reason);
    atomic_set(&wish, 2);
    struct bt_conn *gone = host;
    host = NULL;
    if (gone != NULL) bt_conn_unref(gone);
}

BT_CONN_CB_DEFINE(connection_callbacks) = {.connected = connected, .disconnected = disconnected};

static int start_radio(void) {
    int const error = bt_enable(NULL);
    if (error != 0) return error;
    return bt_le_adv_start(BT_LE_ADV_CONN, advertisement, ARRAY_SIZE(advertisement), answer, ARRAY_SIZE(answer));
}

/* ------------------------------------------------------------------------------------------------------------ loop */

static void speak(void) {
    struct bt_conn *to = host;
    uint16_t const most = to == NULL ? ML_BLE_CHUNK_LEAST : (uint16_t)(bt_gatt_get_mtu(to) - 3);
    while (true) {
        uint16_t const length = ml_ble_link_fill(&link_state, &device, most);
        if (length == 0 || to == NULL) return;
        /* -ENOMEM: the radio's buffers are full; the chunk stays and is offered again. */
        if (bt_gatt_notify(to, &light.attrs[1], link_state.chunk, length) != 0) return;
        ml_ble_link_sent(&link_state);
    }
}

int main(void) {
    static uint8_t const name[] = CONFIG_BT_DEVICE_NAME;
    uint8_t id[ML_UNIQUE_ID_LENGTH] = {0};
    (void)hwinfo_get_device_id(id, sizeof id);
    gpio_pin_configure_dt(&range_bright, GPIO_OUTPUT_INACTIVE);
    gpio_pin_configure_dt(&range_dim, GPIO_OUTPUT_INACTIVE);
    ml_ble_link_init(&link_state);
    ml_device_init(&device, &hardware, &sensor, id, name, (uint8_t)(sizeof name - 1));
    if (start_converter() != 0 || start_radio() != 0) return 1;
    for (;;) {
        long const asked = atomic_set(&wish, 0);
        if (asked != 0) ml_ble_link_listen(&link_state, asked == 1);
        uint8_t byte;
        while (k_msgq_get(&received, &byte, K_NO_WAIT) == 0) ml_device_receive(&device, byte);
        ml_device_poll(&device, k_uptime_get_32());
        speak();
        k_sleep(K_MSEC(1));
    }
}
