#pragma once
#include <stdint.h>
#include <sys/types.h>
#include "conn.h"
#include "uuid.h"
struct bt_gatt_attr { void const *user_data; void const *write; };
struct bt_gatt_service_static { struct bt_gatt_attr const *attrs; };
typedef ssize_t (*bt_write)(struct bt_conn *, struct bt_gatt_attr const *, void const *, uint16_t, uint16_t, uint8_t);
typedef void (*bt_ccc)(struct bt_gatt_attr const *, uint16_t);
#define BT_GATT_CCC_NOTIFY 1
#define BT_GATT_CHRC_NOTIFY 0x10
#define BT_GATT_CHRC_WRITE 0x08
#define BT_GATT_CHRC_WRITE_WITHOUT_RESP 0x04
#define BT_GATT_PERM_NONE 0
#define BT_GATT_PERM_READ 1
#define BT_GATT_PERM_WRITE 2
static inline void check_write(bt_write f) { (void)f; }
static inline void check_ccc(bt_ccc f) { (void)f; }
#define BT_GATT_PRIMARY_SERVICE(u) {.user_data = (u)}
#define BT_GATT_CHARACTERISTIC(u, properties, permissions, read, write_function, data) \
    {.user_data = (u), .write = (void const *)(bt_write)(write_function)}
#define BT_GATT_CCC(changed, permissions) {.write = (void const *)(bt_ccc)(changed)}
#define BT_GATT_SERVICE_DEFINE(name, ...) \
    static struct bt_gatt_attr const name##_attributes[] = {__VA_ARGS__}; \
    static struct bt_gatt_service_static const name = {name##_attributes}
uint16_t bt_gatt_get_mtu(struct bt_conn *connection);
int bt_gatt_notify(struct bt_conn *connection, struct bt_gatt_attr const *attribute, void const *data, uint16_t length);
