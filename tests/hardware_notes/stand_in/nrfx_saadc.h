#pragma once
#include <stdbool.h>
#include <stdint.h>
typedef enum { NRFX_SUCCESS = 0x0BAD0000 } nrfx_err_t;
typedef int16_t nrf_saadc_value_t;
typedef enum { NRF_SAADC_INPUT_AIN0 = 1 } nrf_saadc_input_t;
typedef enum { NRF_SAADC_GAIN1_6, NRF_SAADC_GAIN1_5 } nrf_saadc_gain_t;
typedef enum { NRF_SAADC_REFERENCE_INTERNAL } nrf_saadc_reference_t;
typedef enum { NRF_SAADC_ACQTIME_3US } nrf_saadc_acqtime_t;
typedef enum { NRF_SAADC_RESOLUTION_10BIT = 1 } nrf_saadc_resolution_t;
typedef struct { nrf_saadc_gain_t gain; nrf_saadc_reference_t reference; nrf_saadc_acqtime_t acq_time; } nrf_saadc_channel_config_t;
typedef struct { nrf_saadc_channel_config_t channel_config; nrf_saadc_input_t pin_p; uint8_t channel_index; } nrfx_saadc_channel_t;
#define NRFX_SAADC_DEFAULT_CHANNEL_SE(input, index) {.pin_p = (input), .channel_index = (index)}
typedef struct { uint16_t internal_timer_cc; bool start_on_end; } nrfx_saadc_adv_config_t;
#define NRFX_SAADC_DEFAULT_ADV_CONFIG {0}
typedef enum { NRFX_SAADC_EVT_DONE, NRFX_SAADC_EVT_BUF_REQ, NRFX_SAADC_EVT_READY } nrfx_saadc_evt_type_t;
typedef struct {
    nrfx_saadc_evt_type_t type;
    union { struct { nrf_saadc_value_t *p_buffer; uint16_t size; } done; } data;
} nrfx_saadc_evt_t;
typedef void (*nrfx_saadc_event_handler_t)(nrfx_saadc_evt_t const *);
void nrfx_saadc_irq_handler(void);
nrfx_err_t nrfx_saadc_init(uint8_t priority);
nrfx_err_t nrfx_saadc_channels_config(nrfx_saadc_channel_t const *channels, uint32_t count);
nrfx_err_t nrfx_saadc_advanced_mode_set(uint32_t mask, nrf_saadc_resolution_t bits, nrfx_saadc_adv_config_t const *config,
                                        nrfx_saadc_event_handler_t handler);
nrfx_err_t nrfx_saadc_buffer_set(nrf_saadc_value_t *buffer, uint16_t size);
nrfx_err_t nrfx_saadc_mode_trigger(void);
