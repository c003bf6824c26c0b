/* Where things are connected on the board, and how the chip is run. */
#ifndef METERLINK_BOARD_H
#define METERLINK_BOARD_H

/* ATmega328P, 16 MHz crystal, 5 V.
 *
 *   ADC0 (PC0)  output of the transimpedance amplifier; full scale is AVCC
 *   PD2         high: bright (range 0), the switch lays a second resistor beside the feedback; low: dim (range 1)
 *   PD0, PD1    UART, 250,000 baud 8N1 (exact at 16 MHz; 115,200 would be 2.1 % off) */
#if F_CPU != 16000000UL
#error "sampling grid, clock and line are made for a crystal of 16 MHz"
#endif

#define RANGE_PORT PORTD
#define RANGE_DDR DDRD
#define RANGE_BRIGHT_BIT PD2

/* The chip's own reference of 1.1 V, which the data sheet promises within 1.0 to 1.2 V, against AVCC: 4.83 V by design
 * (5 V less 3 %).  Both as raw value x 65536, the tolerance relative. */
#define REFERENCE_BY_DESIGN ((uint16_t)(1.1 / 4.8307 * 65536))
#define REFERENCE_TOLERANCE ((uint16_t)(0.1 / 1.1 * 65536))

/* EEPROM: 8 bytes of unique id, 1 byte length of the name, the name (at most 32 bytes of UTF-8).  Erased EEPROM reads
 * 0xFF: such a sensor tells the id 0 and no name. */
#define EEPROM_ID_AT 0
#define EEPROM_NAME_LENGTH_AT 8
#define EEPROM_NAME_AT 9

#endif
