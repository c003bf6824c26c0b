#pragma once
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>
#define ARG_UNUSED(x) (void)(x)
#define ARRAY_SIZE(a) (sizeof(a) / sizeof((a)[0]))
#define BIT(n) (1UL << (n))
#define CONFIG_BT_DEVICE_NAME "meterlink dome"
typedef long atomic_t;
long atomic_set(atomic_t *target, long value);
typedef struct { int64_t ticks; } k_timeout_t;
#define K_NO_WAIT ((k_timeout_t){0})
#define K_MSEC(ms) ((k_timeout_t){(ms)})
int32_t k_sleep(k_timeout_t timeout);
uint32_t k_uptime_get_32(void);
struct k_msgq { int unused; };
#define K_MSGQ_DEFINE(name, size, most, align) static struct k_msgq name
int k_msgq_put(struct k_msgq *queue, void const *data, k_timeout_t timeout);
int k_msgq_get(struct k_msgq *queue, void *data, k_timeout_t timeout);
#define DT_NODELABEL(label) DT_N_##label
#define DT_IRQN(node) 7
#define DT_IRQ(node, cell) 1
