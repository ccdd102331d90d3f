/* A sensor board on an ATmega328P at 5 V with a 16 MHz crystal. See ../README.md. */
#include "config.h"

#include <avr/io.h>
#include <avr/wdt.h>

#include "clock.h"
#include "reset.h"
#include "sensor.h"
#include "twi.h"
#include "uart.h"

/* In the ELF file, for the programmer: the crystal; no boot loader; brown-out at 4.3 V, since
 * 16 MHz want 3.8 V at least (ATmega328P datasheet, Fuse Bits and Speed Grades). */
FUSES = {
	.low = 0xFF,
	.high = HFUSE_DEFAULT,
	.extended = FUSE_BODLEVEL1 & FUSE_BODLEVEL0,
};

static struct sensor sensors[] = {SENSORS};

enum { SENSOR_COUNT = sizeof sensors / sizeof sensors[0] };

static const uint16_t round_ticks = CLOCK_TICKS(5000);
static const uint32_t greeting_ticks = CLOCK_TICKS(60000000ULL);

int main(void)
{
	const struct board board = {0, twi_write, twi_read, uart_print, SERIAL_NUMBER, reset_cause()};
	uint32_t since_greeting = 0;
	uint16_t begun;

	clock_start();
	uart_start();
	twi_start();
	sensor_start(&board);
	wdt_enable(WDTO_500MS); /* a round takes 20 ms at most; it is no round that never ends */
	begun = clock_now();
	for (;;) {
		uint16_t elapsed;

		wdt_reset();
		sensor_round(&board, sensors, SENSOR_COUNT, FORM);
		do
			elapsed = clock_now() - begun;
		while (elapsed < round_ticks);
		begun += elapsed;
		since_greeting += elapsed;
		if (since_greeting >= greeting_ticks) {
			since_greeting = 0;
			sensor_greet(&board);
		}
	}
}
