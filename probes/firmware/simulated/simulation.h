/* What the parts of the simulation share. */
#ifndef SIMULATION_H
#define SIMULATION_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "sim_avr.h"

extern avr_t *avr;
extern FILE *report;
uint64_t now(void); /* us since the start */

/* Data addresses and bits: ATmega328P datasheet, Register Summary. */
enum { PINC = 0x26, DDRC = 0x27, MCUSR = 0x54, TWSR = 0xB9, TWDR = 0xBB, TWCR = 0xBC, RAM = 0x100 };
enum { SDA = 1 << 4, SCL = 1 << 5, BORF = 1 << 2, PORF = 1 << 0 };
enum { TWINT = 1 << 7, TWEA = 1 << 6, TWSTA = 1 << 5, TWSTO = 1 << 4, TWEN = 1 << 2 };
enum { HZ = 16000000 };

/* chips.c: the sensors on the bus. */
void chips_connect(void);
void chips_on(void);           /* their power comes (back) */
void chips_convert(void);      /* end the conversions that are due */
void chips_end(void);          /* begin no more conversions */
void chips_report(void);       /* report what is in the registers */
bool chips_send_shunt(void);   /* a chip is sending its shunt word */

/* hold.c: the two wires, and a chip that holds SDA low. */
enum moment { NEVER, NOW, START, READ };
void hold_connect(void);
void hold_reset(void);                          /* the microcontroller was reset */
void hold(enum moment when, int pulses);        /* until so many pulses; 0 = until release */
void release(void);

#endif
