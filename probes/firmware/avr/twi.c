#include "config.h"

#include <avr/io.h>
#include <util/delay.h>
#include <util/twi.h>

#include "clock.h"
#include "twi.h"

/* Status codes and the order of steps: ATmega328P datasheet, 2-wire Serial Interface. Freeing
 * the bus by clock pulses: I2C-bus specification UM10204, section 3.1.16 "Bus clear". */

enum {
	SDA = _BV(PC4),
	SCL = _BV(PC5),
	TIMED_OUT = 0xFF /* no status of the datasheet */
};

/* A byte takes 90 us at 100 kHz. */
static const uint16_t patience = CLOCK_TICKS(2000);

static uint8_t status; /* of the last step */

void twi_start(void)
{
	TWSR = 0; /* prescaler 1 */
	TWBR = (F_CPU / BUS_HZ - 16) / 2;
	TWCR = _BV(TWEN);
}

/* A pin is driven low or left to its pull-up resistor, never driven high. */
static void drive_low(uint8_t pin)
{
	DDRC |= pin;
	_delay_us(5);
}

static void release(uint8_t pin)
{
	DDRC &= (uint8_t)~pin;
	_delay_us(5);
}

static bool is_high(uint8_t pins)
{
	return (PINC & pins) == pins;
}

/* Whether both lines are high within 10 us: the pull-ups take a while. */
static bool is_free(void)
{
	uint8_t i;

	for (i = 0; i < 10 && !is_high(SDA | SCL); i++)
		_delay_us(1);
	return is_high(SDA | SCL);
}

/* A chip that missed a clock pulse holds SDA low until it has sent the rest of its byte: clock
 * it out, at most nine pulses, and end with a stop. */
static void clear_bus(void)
{
	uint8_t i;

	TWCR = 0; /* the pins are ports now */
	PORTC &= (uint8_t)~(SDA | SCL);
	for (i = 0; i < 9 && !is_high(SDA); i++) {
		drive_low(SCL);
		release(SCL);
	}
	drive_low(SCL);
	drive_low(SDA);
	release(SCL);
	release(SDA);
	twi_start();
}

/* Do one step and report whether it ended with the wanted status. */
static bool step(uint8_t control, uint8_t wanted)
{
	uint16_t begun = clock_now();

	TWCR = control | _BV(TWINT) | _BV(TWEN);
	while (!(TWCR & _BV(TWINT)))
		if ((uint16_t)(clock_now() - begun) > patience) {
			status = TIMED_OUT;
			return false;
		}
	status = TW_STATUS;
	return status == wanted;
}

static bool begin(uint8_t wanted)
{
	return step(_BV(TWSTA), wanted);
}

static bool send(uint8_t byte, uint8_t wanted)
{
	TWDR = byte;
	return step(0, wanted);
}

/* Report whether the stop ended. */
static bool stop(void)
{
	uint16_t begun = clock_now();

	TWCR = _BV(TWSTO) | _BV(TWINT) | _BV(TWEN);
	while (TWCR & _BV(TWSTO))
		if ((uint16_t)(clock_now() - begun) > patience)
			return false;
	return true;
}

/* End an access. */
static enum bus_result finish(bool done)
{
	bool refused = !done && (status == TW_MT_SLA_NACK || status == TW_MT_DATA_NACK || status == TW_MR_SLA_NACK);

	if ((done || refused) && stop())
		return done ? BUS_DONE : BUS_NO_ANSWER;
	clear_bus();
	return BUS_STUCK;
}

static bool point(uint8_t address, uint8_t number)
{
	return begin(TW_START) && send((uint8_t)(address << 1) | TW_WRITE, TW_MT_SLA_ACK) && send(number, TW_MT_DATA_ACK);
}

enum bus_result twi_write(void *context, uint8_t address, uint8_t number, uint16_t word)
{
	(void)context;
	if (!is_free()) {
		clear_bus();
		return BUS_STUCK; /* even if it is free now: that it was stuck is printed */
	}
	return finish(point(address, number) && send((uint8_t)(word >> 8), TW_MT_DATA_ACK) &&
		      send((uint8_t)word, TW_MT_DATA_ACK));
}

enum bus_result twi_read(void *context, uint8_t address, uint8_t number, uint16_t *word)
{
	uint8_t high = 0;
	bool done;

	(void)context;
	if (!is_free()) {
		clear_bus();
		return BUS_STUCK;
	}
	done = point(address, number) && begin(TW_REP_START) &&
	       send((uint8_t)(address << 1) | TW_READ, TW_MR_SLA_ACK) && step(_BV(TWEA), TW_MR_DATA_ACK);
	if (done) {
		high = TWDR;
		/* Not acknowledged: the chip lets go of SDA. If it is low all the same, the status is
		 * that of a lost arbitration, and what was read is worth nothing. */
		done = step(0, TW_MR_DATA_NACK);
	}
	*word = (uint16_t)(high << 8 | TWDR);
	return finish(done);
}
