/*
 * The board in a simulated microcontroller, for the test: runs board.elf on simavr's ATmega328P
 * with two INA226 on the I2C bus and the serial port on a pseudo-terminal, in real time.
 *
 *     board board.elf
 *
 * prints "port PATH" and waits for commands on standard input, one a line:
 *
 *     run                     begin
 *     brown-out MS COLUMN     take the power away for so long when COLUMN characters of a line are sent
 *     hold PULSES WHEN        hold SDA low until so many pulses came on SCL, 0 = until "release"; WHEN is
 *                             now, start = as the board begins a transfer, read = before the last byte of
 *                             the shunt word
 *     release
 *     hang                    put a jump to itself under the program counter
 *     end                     convert no more, let the board finish, print "end …"
 *
 * and prints what happened, times in microseconds:
 *
 *     conversion ADDRESS SHUNT BUS DONE GONE read|unread   it was in the registers from DONE to GONE
 *     configured ADDRESS TIME
 *     off TIME | on TIME | held TIME | released TIME PULSES | hung TIME
 *     end SECONDS LOST STACK                               bytes that the terminal did not take; bytes of stack
 */
#define _GNU_SOURCE
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "avr_ioport.h"
#include "avr_twi.h"
#include "avr_uart.h"
#include "sim_avr.h"
#include "sim_elf.h"

#include "ina226.h"

/* Data addresses and bits: ATmega328P datasheet, Register Summary. */
enum { PINC = 0x26, DDRC = 0x27, MCUSR = 0x54, TWSR = 0xB9, TWDR = 0xBB, TWCR = 0xBC, RAM = 0x100 };
enum { SDA = 1 << 4, SCL = 1 << 5, BORF = 1 << 2 };
enum { TWINT = 1 << 7, TWEA = 1 << 6, TWSTA = 1 << 5, TWSTO = 1 << 4, TWEN = 1 << 2 };
enum { HZ = 16000000, BIT_CYCLES = 160, PAINT = 0xC5, TO_ITSELF = 0xCFFF };

struct part {
	struct ina226 chip;
	uint64_t done;  /* when its newest conversion ended */
	uint64_t next;  /* when the next one ends; 0 = it makes none */
};

static avr_t *avr;
static FILE *report;
static struct part parts[2] = {{.chip = {.address = 0x40}}, {.chip = {.address = 0x41}}};
static struct part *selected; /* of the present transfer */
static bool addressed;        /* the byte under way is an address */
static avr_irq_t *twi_input;

static int terminal;
static unsigned long lost;
static int column; /* characters since the end of a line */

static uint64_t idle; /* cycles that passed while the power was off */
static bool powered = true, ending;
static unsigned off_ms, off_column; /* of the ordered brown-out; 0 = none */

static bool held; /* SDA is held low */
static int pulses, pulses_wanted;
static enum { NEVER, NOW, START, READ } hold_when; /* of the ordered hold */
static uint8_t last_direction;
static struct { avr_io_write_t write; void *param; } twi; /* simavr's own */
static bool start_waits;

static bool hung;
static avr_flashaddr_t hung_at;
static uint8_t hung_word[2];

static uint64_t now(void) /* us */
{
	return (avr->cycle + idle) / (HZ / 1000000);
}

/* ---- the chips ---- */

static void report_conversion(struct part *p)
{
	struct ina226 *c = &p->chip;

	if (c->number > 0)
		fprintf(report, "conversion %02X %04X %04X %llu %llu %s\n", c->address, c->shunt, c->bus, (unsigned long long)p->done,
			(unsigned long long)now(), c->took_shunt && c->took_bus ? "read" : "unread");
}

static void schedule(struct part *p)
{
	uint64_t t = ending || !powered ? 0 : ina226_conversion_time(&p->chip) / 1000;

	p->next = t > 0 ? now() + t : 0;
}

static void convert(void)
{
	for (int i = 0; i < 2; i++) {
		struct part *p = &parts[i];

		if (p->next == 0 || now() < p->next)
			continue;
		report_conversion(p);
		ina226_convert(&p->chip);
		p->done = now();
		schedule(p);
	}
}

static void chips_on(void)
{
	for (int i = 0; i < 2; i++) {
		report_conversion(&parts[i]);
		ina226_power_on(&parts[i].chip);
		schedule(&parts[i]);
	}
}

/* ---- the bus, byte by byte ---- */

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
		for (int i = 0; i < 2; i++)
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

/* ---- the bus as two pins with pull-up resistors ---- */

static void set_pins(uint8_t direction)
{
	uint8_t high = (uint8_t)~direction & (SDA | SCL);

	if (held)
		high &= (uint8_t)~SDA;
	avr->data[PINC] = (uint8_t)((avr->data[PINC] & ~(SDA | SCL)) | high);
}

/* ---- the bus while SDA is held low: what the datasheet says of the microcontroller's side ---- */

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
	bool reads = (avr->data[TWSR] & 0xF8) == 0x50 && !(control & TWSTO) && selected && selected->chip.pointer == 1;

	if (hold_when == NOW || (hold_when == START && starts) || (hold_when == READ && reads)) {
		hold_when = NEVER;
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

/* ---- the bus as two pins: what the board's program drives ---- */

static void release(void)
{
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

/* ---- the serial port ---- */

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *param)
{
	char c = (char)value;

	(void)irq;
	(void)param;
	if (!powered)
		return;
	if (write(terminal, &c, 1) != 1)
		lost++;
	column = c == '\n' ? 0 : column + 1;
}

static void open_terminal(void)
{
	struct termios t;
	int slave;

	terminal = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
	if (terminal < 0 || grantpt(terminal) || unlockpt(terminal) || (slave = open(ptsname(terminal), O_RDWR | O_NOCTTY)) < 0) {
		perror("pseudo-terminal");
		exit(1);
	}
	tcgetattr(slave, &t);
	cfmakeraw(&t);
	tcsetattr(slave, TCSANOW, &t);
	fprintf(report, "port %s\n", ptsname(terminal)); /* slave stays open, so that the terminal does not hang up */
}

/* ---- resets ---- */

static void on_reset(struct avr_io_t *io)
{
	(void)io;
	last_direction = 0;
	start_waits = false;
	set_pins(0);
	memset(avr->data + RAM, PAINT, avr->ramend + 1 - RAM);
	if (hung) {
		memcpy(avr->flash + hung_at, hung_word, 2);
		hung = false;
	}
}

static unsigned stack_bytes(void)
{
	unsigned end = avr->ramend + 1, untouched = 0, i = end;

	while (i > RAM && untouched < 16)
		untouched = avr->data[--i] == PAINT ? untouched + 1 : 0;
	return end - i - untouched;
}

static void brown_out(void)
{
	fprintf(report, "off %llu\n", (unsigned long long)now());
	powered = false;
	idle += (uint64_t)off_ms * (HZ / 1000);
	off_ms = 0;
	selected = NULL;
	avr_reset(avr);
	avr->data[MCUSR] = BORF;
	powered = true;
	chips_on();
	fprintf(report, "on %llu\n", (unsigned long long)now());
}

static void hang(void)
{
	hung = true;
	hung_at = avr->pc;
	memcpy(hung_word, avr->flash + hung_at, 2);
	avr->flash[hung_at] = TO_ITSELF & 0xFF;
	avr->flash[hung_at + 1] = TO_ITSELF >> 8;
	fprintf(report, "hung %llu\n", (unsigned long long)now());
}

/* ---- commands and time ---- */

static bool command(void) /* false: end */
{
	char text[80], when[8];

	if (!fgets(text, sizeof text, stdin))
		return false;
	if (sscanf(text, "brown-out %u %u", &off_ms, &off_column) == 2)
		return true;
	if (sscanf(text, "hold %d %7s", &pulses_wanted, when) == 2) {
		hold_when = strcmp(when, "read") == 0 ? READ : strcmp(when, "start") == 0 ? START : NOW;
		if (hold_when == NOW)
			hold_at(0);
	} else if (strcmp(text, "release\n") == 0) {
		if (held)
			release();
	} else if (strcmp(text, "hang\n") == 0) {
		hang();
	} else if (strcmp(text, "end\n") == 0) {
		return false;
	} else if (strcmp(text, "run\n") != 0) {
		fprintf(stderr, "not known: %s", text);
		exit(1);
	}
	return true;
}

static bool command_waits(void)
{
	struct pollfd in = {.fd = 0, .events = POLLIN};

	return poll(&in, 1, 0) > 0;
}

static uint64_t wall(void) /* us */
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (uint64_t)t.tv_sec * 1000000 + (uint64_t)t.tv_nsec / 1000;
}

/* Simulate until a time. */
static void run_until(uint64_t end)
{
	while (now() < end) {
		int state = avr_run(avr);

		if (state == cpu_Done || state == cpu_Crashed) {
			fprintf(stderr, "the microcontroller stopped\n");
			exit(1);
		}
		convert();
		if (off_ms > 0 && column == (int)off_column)
			brown_out();
	}
}

int main(int argc, char **argv)
{
	static avr_io_t resets = {.kind = "board", .reset = on_reset};
	elf_firmware_t firmware = {0};
	uint64_t begun, silent;

	report = fdopen(dup(1), "w");
	setvbuf(report, NULL, _IOLBF, 0);
	setvbuf(stdin, NULL, _IONBF, 0); /* so that poll sees what waits */
	if (!freopen("/dev/null", "w", stdout)) /* simavr prints there */
		return 1;
	if (argc != 2 || elf_read_firmware(argv[1], &firmware) != 0 || !(avr = avr_make_mcu_by_name("atmega328p"))) {
		fprintf(stderr, "usage: board board.elf\n");
		return 1;
	}
	avr_init(avr);
	avr->frequency = HZ;
	avr->run_cycle_limit = 200;
	avr_load_firmware(avr, &firmware);
	avr->frequency = HZ;
	avr_register_io(avr, &resets);

	uint32_t flags = 0;
	avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), on_twi, NULL);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_STATUS), on_twi_status, NULL);
	twi_input = avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), IOPORT_IRQ_DIRECTION_ALL), on_direction, NULL);
	twi.write = avr->io[AVR_DATA_TO_IO(TWCR)].w.c;
	twi.param = avr->io[AVR_DATA_TO_IO(TWCR)].w.param;
	avr->io[AVR_DATA_TO_IO(TWCR)].w.c = on_twi_control;

	open_terminal();
	if (!command())
		return 1;
	avr_reset(avr);
	avr->data[MCUSR] = 1; /* PORF */
	chips_on();
	begun = wall();
	for (;;) {
		uint64_t passed = wall() - begun;

		if (command_waits() && !command())
			break;
		run_until(now() + 1000);
		if (now() > passed)
			usleep((useconds_t)(now() - passed));
	}
	ending = true;
	for (int i = 0; i < 2; i++)
		parts[i].next = 0;
	silent = now() + 200000;
	run_until(silent);
	for (int i = 0; i < 2; i++)
		report_conversion(&parts[i]);
	fprintf(report, "end %.3f %lu %u\n", (double)now() / 1e6, lost, stack_bytes());
	return 0;
}
