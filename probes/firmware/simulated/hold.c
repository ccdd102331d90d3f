#include "avr_ioport.h"

#include "simulation.h"

enum { BIT_CYCLES = 160 }; /* at 100 kHz */

static bool held; /* SDA is held low */
static int pulses, pulses_wanted;
static enum moment moment; /* of the ordered hold */
static uint8_t last_direction;
static bool start_waits;   /* the microcontroller waits for a free bus */
static struct { avr_io_write_t write; void *param; } twi; /* simavr's own */

/* The bus as two pins with pull-up resistors, which the program drives low or leaves. */
static void set_pins(uint8_t direction)
{
	uint8_t high = (uint8_t)~direction & (SDA | SCL);

	if (held)
		high &= (uint8_t)~SDA;
	avr->data[PINC] = (uint8_t)((avr->data[PINC] & ~(SDA | SCL)) | high);
}

/* The status that the datasheet gives for a byte on a bus whose SDA is low. */
static uint8_t held_status(uint8_t before, uint8_t control, uint8_t sent)
{
	switch (before) {
	case 0x08: /* after a start: the address. A bit that is 1 on a line that is low loses the arbitration */
	case 0x10:
		return sent == 0 ? 0x18 : 0x38;
	case 0x18: /* a byte to the chip; a line that is low looks like an acknowledge */
	case 0x28:
		return sent == 0 ? 0x28 : 0x38;
	case 0x40: /* a byte from the chip; not to acknowledge is a bit that is 1 */
	case 0x50:
		return control & TWEA ? 0x50 : 0x38;
	}
	return 0x00;
}

static avr_cycle_count_t held_byte(struct avr_t *a, avr_cycle_count_t when, void *param)
{
	uint8_t before = a->data[TWSR] & 0xF8;

	(void)when;
	(void)param;
	a->data[TWSR] = (uint8_t)((a->data[TWSR] & 7) | held_status(before, a->data[TWCR], a->data[TWDR]));
	if (before == 0x40 || before == 0x50)
		a->data[TWDR] = 0;
	a->data[TWCR] |= TWINT;
	return 0;
}

/* Begin the ordered hold if a write to the control register is the moment for it. */
static void hold_at(uint8_t control)
{
	bool starts = control & TWSTA;
	bool reads = (avr->data[TWSR] & 0xF8) == 0x50 && !(control & TWSTO) && chips_send_shunt();

	if (moment == NOW || (moment == START && starts) || (moment == READ && reads)) {
		moment = NEVER;
		held = true;
		pulses = 0;
		set_pins(avr->data[DDRC]);
		fprintf(report, "held %llu\n", (unsigned long long)now());
	}
}

static void on_twi_control(struct avr_t *a, avr_io_addr_t address, uint8_t v, void *param)
{
	(void)param;
	start_waits = false;
	hold_at(v);
	if (!held || !(v & TWEN)) {
		twi.write(a, address, v, twi.param);
		a->data[TWCR] &= (uint8_t)~TWINT; /* writing a 1 clears the flag, which simavr 1.6 does for interrupts alone */
		return;
	}
	a->data[TWCR] = v & (uint8_t)~TWINT;
	if (v & TWSTA)
		start_waits = true; /* a start waits until the bus is free */
	else if (!(v & TWSTO) && (v & TWINT)) /* a stop waits too */
		avr_cycle_timer_register(a, 9 * BIT_CYCLES, held_byte, NULL);
}

void release(void)
{
	if (!held)
		return;
	held = false;
	fprintf(report, "released %llu %d\n", (unsigned long long)now(), pulses);
	set_pins(avr->data[DDRC]);
	if (start_waits)
		twi.write(avr, TWCR, avr->data[TWCR] | TWINT, twi.param);
	start_waits = false;
}

static void on_direction(struct avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	(void)param;
	if (held && (last_direction & SCL) && !(value & SCL) && ++pulses == pulses_wanted)
		release();
	last_direction = (uint8_t)value;
	set_pins((uint8_t)value);
}

void hold(enum moment when, int wanted)
{
	moment = when;
	pulses_wanted = wanted;
	hold_at(0); /* if it is now */
}

void hold_reset(void)
{
	last_direction = 0;
	start_waits = false;
	set_pins(0);
}

void hold_connect(void)
{
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), IOPORT_IRQ_DIRECTION_ALL), on_direction, NULL);
	twi.write = avr->io[AVR_DATA_TO_IO(TWCR)].w.c;
	twi.param = avr->io[AVR_DATA_TO_IO(TWCR)].w.param;
	avr->io[AVR_DATA_TO_IO(TWCR)].w.c = on_twi_control;
}
