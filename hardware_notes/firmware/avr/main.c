/* The thin layer for the ATmega328P: registers and interrupts.  Everything else is in ../core. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"
#include "device.h"
#include "sampling.h"

#define RX_RING 128
#define TX_RING 64

static struct ml_device device;

static volatile uint8_t rx_ring[RX_RING];
static volatile uint8_t rx_in;
static uint8_t rx_out;

static volatile uint8_t tx_ring[TX_RING];
static uint8_t tx_in;
static volatile uint8_t tx_out;

/* --------------------------------------------------------------------------------------------------- interrupts */

ISR(USART_RX_vect) {
    uint8_t const byte = UDR0;
    uint8_t const in = rx_in;
    /* When the main loop is late by 128 bytes the frame is damaged anyway: its CRC will tell. */
    rx_ring[in] = byte;
    rx_in = (in + 1) & (RX_RING - 1);
}

ISR(USART_UDRE_vect) {
    uint8_t const out = tx_out;
    if (out == tx_in) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        return;
    }
    UDR0 = tx_ring[out];
    tx_out = (out + 1) & (TX_RING - 1);
}

/* -------------------------------------------------------------------------------------------- what the core asks for */

static void set_range(uint8_t range) {
    if (range == 0) {
        RANGE_PORT |= _BV(RANGE_BRIGHT_BIT);
    } else {
        RANGE_PORT &= (uint8_t)~_BV(RANGE_BRIGHT_BIT);
    }
}

/* All interrupts, for less than a conversion: the flags of what comes meanwhile stay up. */
static void lock(void) { cli(); }

static void unlock(void) { sei(); }

static void start_adc(void) {
    ADMUX = _BV(REFS0) | _BV(ADLAR); /* AVCC, left-adjusted, ADC0 */
    ADCSRB = 0;                      /* free running */
    DIDR0 = _BV(ADC0D);
    /* Prescaler 16: 1 MHz, 13 clocks and so 13 us a conversion.  Above 200 kHz the datasheet promises less than 10
     * bits; a pop uses 8 and steady light the mean of thousands.  What a single conversion has left behind is cleared. */
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADATE) | _BV(ADIE) | _BV(ADIF) | _BV(ADPS2);
}

/* One conversion, waited for, with the converter at 125 kHz. */
static uint16_t convert_once(void) {
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    while (ADCSRA & _BV(ADSC)) {}
    return ADC;
}

/* 4 ms without samples, with the line served meanwhile.  The internal reference has so high a resistance that the
 * converter needs about a millisecond to follow it: the first conversions are dropped. */
static uint16_t measure_reference(void) {
    ADCSRA = _BV(ADEN) | _BV(ADPS2); /* no interrupt, no start by itself */
    while (ADCSRA & _BV(ADSC)) {}
    sei();
    ADMUX = _BV(REFS0) | _BV(MUX3) | _BV(MUX2) | _BV(MUX1);
    uint16_t sum = 0;
    for (uint8_t i = 0; i < 16; i++) (void)convert_once();
    for (uint8_t i = 0; i < 16; i++) sum += convert_once();
    cli();
    start_adc();
    return (uint16_t)(sum * 4 + 32); /* (mean + 1/2) / 1024 x 65536 */
}

static void store_identity(uint8_t const *id, uint8_t const *name, uint8_t length) {
    eeprom_update_block(id, (void *)EEPROM_ID_AT, ML_UNIQUE_ID_LENGTH);
    eeprom_update_block(name, (void *)EEPROM_NAME_AT, length);
    eeprom_update_byte((uint8_t *)EEPROM_NAME_LENGTH_AT, length);
}

static struct ml_hardware const hardware = {
    .set_range = set_range,
    .lock = lock,
    .unlock = unlock,
    .measure_reference = measure_reference,
    .store_identity = store_identity,
    .reference_by_design = REFERENCE_BY_DESIGN,
    .reference_tolerance = REFERENCE_TOLERANCE,
};

/* --------------------------------------------------------------------------------------------------------- start */

static void start_uart(void) {
    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UBRR0 = F_CPU / 8 / 250000UL - 1;
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

/* Timer 1 runs at 4 us a count and is asked, not heard: one interrupt less between the samples. */
static void start_clock(void) {
    TCCR1A = 0;
    TCCR1B = _BV(CS11) | _BV(CS10);
}

/* Milliseconds since start; must be called at least every 262 ms. */
static uint32_t clock_ms(void) {
    static uint32_t ms;
    static uint16_t last;
    while ((uint16_t)(TCNT1 - last) >= F_CPU / 64 / 1000) {
        last += F_CPU / 64 / 1000;
        ms++;
    }
    return ms;
}

static void start_device(void) {
    uint8_t id[ML_UNIQUE_ID_LENGTH];
    uint8_t name[ML_NAME_LONGEST];
    uint8_t all = 0xFF;
    eeprom_read_block(id, (void const *)EEPROM_ID_AT, sizeof id);
    eeprom_read_block(name, (void const *)EEPROM_NAME_AT, sizeof name);
    uint8_t length = eeprom_read_byte((uint8_t const *)EEPROM_NAME_LENGTH_AT);
    for (uint8_t i = 0; i < sizeof id; i++) all &= id[i];
    if (all == 0xFF) {
        for (uint8_t i = 0; i < sizeof id; i++) id[i] = 0;
    }
    if (length > ML_NAME_LONGEST) length = 0;
    ml_device_init(&device, &hardware, &sensor, id, name, length);
}

/* ---------------------------------------------------------------------------------------------------------- loop */

static void send(uint8_t byte) {
    tx_ring[tx_in] = byte;
    __asm__ __volatile__("" ::: "memory");
    tx_in = (tx_in + 1) & (TX_RING - 1);
    /* A bit in the I/O space beyond sbi: the interrupts that change this register must not come between. */
    uint8_t const sreg = SREG;
    cli();
    UCSR0B |= _BV(UDRIE0);
    SREG = sreg;
}

static void fill_line(void) {
    uint8_t byte;
    while (((tx_in + 1) & (TX_RING - 1)) != tx_out && ml_device_transmit(&device, &byte)) send(byte);
}

int main(void) {
    RANGE_DDR |= _BV(RANGE_BRIGHT_BIT);
    start_uart();
    start_clock();
    start_device();
    start_adc();
    sei(); /* done before by the device, at a time when nothing was switched on yet; said here for the reader */
    send(0); /* ends whatever a reset cut in two */
    for (;;) {
        while (rx_out != rx_in) {
            ml_device_receive(&device, rx_ring[rx_out]);
            rx_out = (rx_out + 1) & (RX_RING - 1);
        }
        ml_device_poll(&device, clock_ms());
        fill_line();
    }
}
