#pragma once
#include <stdint.h>
#include <sys/types.h>
ssize_t hwinfo_get_device_id(uint8_t *buffer, size_t length);
