#pragma once
#include <stdint.h>
struct bt_uuid { uint8_t type; };
struct bt_uuid_128 { struct bt_uuid uuid; uint8_t val[16]; };
#define BT_UUID_128_ENCODE(a, b, c, d, e) \
    (uint8_t)((e) & 0xFF), (uint8_t)((e) >> 8), (uint8_t)((e) >> 16), (uint8_t)((e) >> 24), (uint8_t)((e) >> 32), \
        (uint8_t)((e) >> 40), (uint8_t)(d), (uint8_t)((d) >> 8), (uint8_t)(c), (uint8_t)((c) >> 8), (uint8_t)(b), \
        (uint8_t)((b) >> 8), (uint8_t)(a), (uint8_t)((a) >> 8), (uint8_t)((a) >> 16), (uint8_t)((a) >> 24)
#define BT_UUID_INIT_128(...) {.uuid = {2}, .val = {__VA_ARGS__}}
