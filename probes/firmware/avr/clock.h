/* Timer 1 as a clock that is read, not waited for: ticks of 1024 cycles, 64 us at 16 MHz. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

#include <avr/io.h>

#include "config.h"

#define CLOCK_TICKS(microseconds) ((microseconds) * (F_CPU / 1000000UL) / 1024UL + 1UL)

static inline void clock_start(void)
{
	TCCR1A = 0;
	TCCR1B = _BV(CS12) | _BV(CS10);
}

/* The tick; it wraps around after 4.2 s, so compare differences as uint16_t. */
static inline uint16_t clock_now(void)
{
	return TCNT1;
}

#endif
