#pragma once
#include <stdint.h>
struct bt_conn;
struct bt_conn *bt_conn_ref(struct bt_conn *connection);
void bt_conn_unref(struct bt_conn *connection);
struct bt_conn_cb {
    void (*connected)(struct bt_conn *connection, uint8_t error);
    void (*disconnected)(struct bt_conn *connection, uint8_t reason);
};
#define BT_CONN_CB_DEFINE(name) struct bt_conn_cb name
