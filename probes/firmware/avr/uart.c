#include "config.h"

/* At 16 MHz the nearest rate to 115200 is 117647, 2.1 % faster. A receiver samples the stop bit
 * 9.5 bits after the start, so 5 % would be too much. */
#define BAUD_TOL 3

#include <avr/io.h>
#include <util/setbaud.h>

#include "uart.h"

void uart_start(void)
{
	UCSR0A = USE_2X ? _BV(U2X0) : 0;
	UBRR0 = UBRR_VALUE;
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8 data bits, no parity, 1 stop bit */
	UCSR0B = _BV(TXEN0);
}

void uart_print(void *context, const char *text)
{
	(void)context;
	while (*text) {
		while (!(UCSR0A & _BV(UDRE0)))
			;
		UDR0 = (uint8_t)*text++;
	}
}
