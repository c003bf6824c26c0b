/* Where things are connected on the board, and how the chip is run. */
#ifndef METERLINK_BOARD_H
#define METERLINK_BOARD_H

/* ATmega328P, 16 MHz crystal, 5 V.
 *
 *   ADC0 (PC0)  output of the transimpedance amplifier; full scale is AVCC
 *   PD2         closes the feedback of range 0, bright
 *   PD3         closes the feedback of range 1, dim
 *   PD0, PD1    UART, 250,000 baud 8N1 (exact at 16 MHz; 115,200 would be 2.1 % off) */
#define RANGE_PORT PORTD
#define RANGE_DDR DDRD
#define RANGE_BRIGHT_BIT PD2
#define RANGE_DIM_BIT PD3

/* EEPROM: 8 bytes of unique id, 1 byte length of the name, the name (at most 32 bytes of UTF-8).  Erased EEPROM reads
 * 0xFF: such a sensor tells the id 0 and no name. */
#define EEPROM_ID_AT 0
#define EEPROM_NAME_LENGTH_AT 8
#define EEPROM_NAME_AT 9

#endif
