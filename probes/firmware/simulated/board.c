/*
 * The board in a simulated microcontroller, for the test: runs board.elf on simavr's ATmega328P
 * with two INA226 on the I2C bus and the serial port on a pseudo-terminal, in real time.
 *
 *     board board.elf
 *
 * prints "port PATH" and waits for commands on standard input, one a line:
 *
 *     run                     begin
 *     brown-out MS COLUMN     take the power away for so long when COLUMN characters of a line with a value are sent
 *     hold PULSES WHEN        hold SDA low until so many pulses came on SCL, 0 = until "release"; WHEN is
 *                             now, start = as the board begins a transfer, read = before the last byte of
 *                             the shunt word
 *     release
 *     hang                    put a jump to itself under the program counter
 *     end                     convert no more, let the board finish, print "end …" and keep the terminal open
 *                             until the end of standard input
 *
 * and prints what happened, times in microseconds:
 *
 *     conversion ADDRESS SHUNT BUS DONE GONE read|unread   it was in the registers from DONE to GONE
 *     configured ADDRESS TIME
 *     off TIME | on TIME | held TIME | released TIME PULSES | hung TIME
 *     second NUMBER                                        so much time has passed for the board
 *     end SECONDS LATE LOST STACK                          how much longer it took, in s; bytes that the terminal
 *                                                          did not take; bytes of stack
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

#include "avr_uart.h"
#include "sim_elf.h"

#include "simulation.h"

enum { PAINT = 0xC5, TO_ITSELF = 0xCFFF };

avr_t *avr;
FILE *report;

static int terminal;
static unsigned long lost;
static int column;   /* characters since the end of a line */
static bool comment; /* the line is one */

static uint64_t idle;                /* cycles that passed while the power was off */
static unsigned off_ms, off_column;  /* of the ordered brown-out; 0 = none */

static bool hung;
static avr_flashaddr_t hung_at;
static uint8_t hung_word[2];

uint64_t now(void)
{
	return (avr->cycle + idle) / (HZ / 1000000);
}

/* ---- the serial port ---- */

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *param)
{
	char c = (char)value;

	(void)irq;
	(void)param;
	if (write(terminal, &c, 1) != 1)
		lost++;
	if (column == 0)
		comment = c == '#';
	column = c == '\n' ? 0 : column + 1;
}

static void open_terminal(void)
{
	struct termios t;
	int reader; /* stays open, so that the terminal does not hang up */

	terminal = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
	if (terminal < 0 || grantpt(terminal) || unlockpt(terminal) || (reader = open(ptsname(terminal), O_RDWR | O_NOCTTY)) < 0) {
		perror("pseudo-terminal");
		exit(1);
	}
	tcgetattr(reader, &t);
	cfmakeraw(&t);
	tcsetattr(reader, TCSANOW, &t);
	fprintf(report, "port %s\n", ptsname(terminal));
}

/* ---- resets ---- */

static void on_reset(struct avr_io_t *io)
{
	(void)io;
	hold_reset();
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
	idle += (uint64_t)off_ms * (HZ / 1000);
	off_ms = 0;
	avr_reset(avr);
	avr->data[MCUSR] = BORF;
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
	int n;

	if (!fgets(text, sizeof text, stdin))
		return false;
	if (sscanf(text, "brown-out %u %u", &off_ms, &off_column) == 2)
		return true;
	if (sscanf(text, "hold %d %7s", &n, when) == 2) {
		hold(strcmp(when, "read") == 0 ? READ : strcmp(when, "start") == 0 ? START : NOW, n);
	} else if (strcmp(text, "release\n") == 0) {
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
		chips_convert();
		if (off_ms > 0 && column == (int)off_column && !comment)
			brown_out();
	}
}

int main(int argc, char **argv)
{
	static avr_io_t resets = {.kind = "board", .reset = on_reset};
	elf_firmware_t firmware = {0};
	uint64_t begun, second = 0, late = 0;

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
	chips_connect();
	hold_connect();

	open_terminal();
	if (!command())
		return 1;
	avr_reset(avr);
	avr->data[MCUSR] = PORF;
	chips_on();
	begun = wall();
	for (;;) {
		uint64_t passed;

		if (command_waits() && !command())
			break;
		run_until(now() + 1000);
		passed = wall() - begun;
		if (now() > passed) {
			usleep((useconds_t)(now() - passed));
		} else { /* a board does not hurry afterwards */
			late += passed - now();
			begun += passed - now();
		}
		if (now() / 1000000 > second) {
			second = now() / 1000000;
			fprintf(report, "second %llu\n", (unsigned long long)second);
		}
	}
	chips_end();
	run_until(now() + 200000);
	chips_report();
	fprintf(report, "end %.3f %.3f %lu %u\n", (double)now() / 1e6, (double)late / 1e6, lost, stack_bytes());
	while (getchar() != EOF)
		;
	return 0;
}
