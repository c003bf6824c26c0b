#pragma once
#include <stddef.h>
#include <stdint.h>
struct bt_data { uint8_t type; uint8_t data_len; uint8_t const *data; };
#define BT_DATA(t, d, n) {.type = (t), .data_len = (n), .data = (uint8_t const *)(d)}
#define BT_DATA_BYTES(t, ...) BT_DATA(t, ((uint8_t[]){__VA_ARGS__}), sizeof((uint8_t[]){__VA_ARGS__}))
#define BT_DATA_FLAGS 0x01
#define BT_DATA_UUID128_ALL 0x07
#define BT_DATA_NAME_COMPLETE 0x09
#define BT_LE_AD_GENERAL 2
#define BT_LE_AD_NO_BREDR 4
struct bt_le_adv_param { int unused; };
#define BT_LE_ADV_CONN ((struct bt_le_adv_param const *)0)
int bt_enable(void (*ready)(int));
int bt_le_adv_start(struct bt_le_adv_param const *parameters, struct bt_data const *ad, size_t ad_length, struct bt_data const *sd,
                    size_t sd_length);
