#include "avr_twi.h"

#include "ina226.h"
#include "simulation.h"

struct part {
	struct ina226 chip;
	uint64_t done; /* when its newest conversion ended */
	uint64_t next; /* when the next one ends; 0 = it makes none */
};

static struct part parts[] = {{.chip = {.address = 0x40}}, {.chip = {.address = 0x41}}};
enum { PARTS = sizeof parts / sizeof parts[0] };

static bool ending;
static struct part *selected; /* of the present transfer */
static bool addressed;        /* the byte under way is an address */
static avr_irq_t *twi_input;

static void report_conversion(struct part *p)
{
	struct ina226 *c = &p->chip;

	if (c->number > 0)
		fprintf(report, "conversion %02X %04X %04X %llu %llu %s\n", c->address, c->shunt, c->bus, (unsigned long long)p->done,
			(unsigned long long)now(), c->took_shunt && c->took_bus ? "read" : "unread");
}

static void schedule(struct part *p)
{
	uint64_t t = ending ? 0 : ina226_conversion_time(&p->chip) / 1000;

	p->next = t > 0 ? now() + t : 0;
}

void chips_convert(void)
{
	for (int i = 0; i < PARTS; i++) {
		struct part *p = &parts[i];

		if (p->next == 0 || now() < p->next)
			continue;
		report_conversion(p);
		ina226_convert(&p->chip);
		p->done = now();
		schedule(p);
	}
}

void chips_on(void)
{
	selected = NULL;
	chips_report();
	for (int i = 0; i < PARTS; i++) {
		ina226_power_on(&parts[i].chip);
		schedule(&parts[i]);
	}
}

/* simavr 1.6 reports an address that was sent like a byte of data; the datasheet has a code of its
 * own for it. */
static void on_twi_status(struct avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	(void)param;
	if (!addressed)
		return;
	addressed = false;
	if (value == 0x28 || value == 0x30) /* SLA+W, acknowledged or not */
		avr->data[TWSR] = (uint8_t)((avr->data[TWSR] & 7) | (value - 0x10));
}

static void on_twi(struct avr_irq_t *irq, uint32_t value, void *param)
{
	avr_twi_msg_irq_t m = {.u.v = value};

	(void)irq;
	(void)param;
	if (m.u.twi.msg & TWI_COND_STOP) {
		if (selected)
			ina226_stop(&selected->chip);
		selected = NULL;
	}
	if (m.u.twi.msg & TWI_COND_START) {
		selected = NULL;
		addressed = true;
		for (int i = 0; i < PARTS; i++)
			if (ina226_start(&parts[i].chip, m.u.twi.addr))
				selected = &parts[i];
		if (selected)
			avr_raise_irq(twi_input, avr_twi_irq_msg(TWI_COND_ACK, m.u.twi.addr, 1));
	}
	if (!selected)
		return;
	if (m.u.twi.msg & TWI_COND_WRITE) {
		selected->chip.configured = false;
		avr_raise_irq(twi_input, avr_twi_irq_msg(TWI_COND_ACK, m.u.twi.addr, ina226_write(&selected->chip, m.u.twi.data)));
		if (selected->chip.configured) {
			fprintf(report, "configured %02X %llu\n", selected->chip.address, (unsigned long long)now());
			schedule(selected);
		}
	}
	if (m.u.twi.msg & TWI_COND_READ)
		avr_raise_irq(twi_input, avr_twi_irq_msg(TWI_COND_READ, m.u.twi.addr, ina226_read(&selected->chip)));
}

void chips_end(void)
{
	ending = true;
	for (int i = 0; i < PARTS; i++)
		parts[i].next = 0;
}

void chips_report(void)
{
	for (int i = 0; i < PARTS; i++)
		report_conversion(&parts[i]);
}

bool chips_send_shunt(void)
{
	return selected && selected->chip.reads && selected->chip.pointer == 0x01;
}

void chips_connect(void)
{
	avr_irq_t *bus = avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), 0);

	twi_input = bus + TWI_IRQ_INPUT;
	avr_irq_register_notify(bus + TWI_IRQ_OUTPUT, on_twi, NULL);
	avr_irq_register_notify(bus + TWI_IRQ_STATUS, on_twi_status, NULL);
}
