#pragma once
struct gpio_dt_spec { int pin; };
#define GPIO_DT_SPEC_GET(node, property) {0}
#define GPIO_OUTPUT_INACTIVE 1
int gpio_pin_set_dt(struct gpio_dt_spec const *spec, int value);
int gpio_pin_configure_dt(struct gpio_dt_spec const *spec, unsigned int flags);
