#include <stdint.h>

#include <avr/io.h>
#include <avr/wdt.h>

#include "reset.h"

/* MCUSR as it was; not cleared with the other variables, which happens after it is saved. */
static uint8_t saved __attribute__((section(".noinit")));

/* Runs before main, while there is no stack frame: after a watchdog reset the watchdog goes on
 * with its shortest time, and is stopped only when MCUSR is cleared (ATmega328P datasheet,
 * Watchdog Timer). */
void reset_save(void) __attribute__((naked, used, section(".init3")));
void reset_save(void)
{
	saved = MCUSR;
	MCUSR = 0;
	wdt_disable();
}

const char *reset_cause(void)
{
	/* Power-on first: the supply's rise may set the brown-out flag as well. */
	if (saved & _BV(PORF))
		return "power-on";
	if (saved & _BV(BORF))
		return "brown-out";
	if (saved & _BV(WDRF))
		return "watchdog";
	if (saved & _BV(EXTRF))
		return "reset pin";
	return 0;
}
