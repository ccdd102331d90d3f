/*
 * The board on a computer, for the test: a bus whose chips are described on standard
 * input, and a serial port that is standard output. One command a line:
 *
 *     form words | form values
 *     sensor ID ADDRESS SHUNT_UOHM     a sensor that the board has
 *     set ADDRESS NUMBER WORD          what a register reads (hexadecimal)
 *     during ADDRESS SHUNT BUS         the next conversion, which ends when the shunt word was read
 *     gone ADDRESS                     the chip does not answer any more
 *     stuck | free                     the bus
 *     reset CAUSE                      why the board started
 *     start | greet | round
 *     rounds NUMBER
 */
#include <stdio.h>
#include <string.h>

#include "sensor.h"

struct chip {
	bool there;
	bool converting; /* the conversion of next ends when the shunt word was read */
	uint16_t words[256];
	uint16_t next[2];
};

static struct chip chips[128];
static bool stuck;

static enum bus_result bus_write(void *context, uint8_t address, uint8_t number, uint16_t word)
{
	(void)context;
	if (stuck)
		return BUS_STUCK;
	if (!chips[address].there)
		return BUS_NO_ANSWER;
	chips[address].words[number] = word;
	return BUS_DONE;
}

static enum bus_result bus_read(void *context, uint8_t address, uint8_t number, uint16_t *word)
{
	struct chip *c = &chips[address];

	(void)context;
	if (stuck)
		return BUS_STUCK;
	if (!c->there)
		return BUS_NO_ANSWER;
	*word = c->words[number];
	if (number == INA226_FLAGS)
		c->words[number] &= (uint16_t)~INA226_CVRF;
	if (number == INA226_SHUNT && c->converting) {
		c->converting = false;
		c->words[INA226_SHUNT] = c->next[0];
		c->words[INA226_BUS] = c->next[1];
		c->words[INA226_FLAGS] |= INA226_CVRF;
	}
	return BUS_DONE;
}

static void print(void *context, const char *text)
{
	(void)context;
	fputs(text, stdout);
}

int main(void)
{
	static char ids[8][32], cause[32];
	static struct sensor sensors[8];
	struct board b = {0, bus_write, bus_read, print, 0x00C0FFEE, 0};
	char command[128], word[32];
	unsigned address, number, value;
	int count = 0, rounds;
	enum form form = WORDS;

	while (fgets(command, sizeof command, stdin)) {
		if (sscanf(command, "form %31s", word) == 1) {
			form = strcmp(word, "values") == 0 ? VALUES : WORDS;
		} else if (count < 8 && sscanf(command, "sensor %31s %x %u", ids[count], &address, &value) == 3) {
			sensors[count].id = ids[count];
			sensors[count].address = (uint8_t)address;
			sensors[count++].shunt_uohm = value;
		} else if (sscanf(command, "set %x %x %x", &address, &number, &value) == 3) {
			chips[address & 0x7F].there = true;
			chips[address & 0x7F].words[number & 0xFF] = (uint16_t)value;
		} else if (sscanf(command, "during %x %x %x", &address, &number, &value) == 3) {
			chips[address & 0x7F].converting = true;
			chips[address & 0x7F].next[0] = (uint16_t)number;
			chips[address & 0x7F].next[1] = (uint16_t)value;
		} else if (sscanf(command, "gone %x", &address) == 1) {
			chips[address & 0x7F].there = false;
		} else if (sscanf(command, "reset %31s", cause) == 1) {
			b.reset = cause;
		} else if (strcmp(command, "stuck\n") == 0) {
			stuck = true;
		} else if (strcmp(command, "free\n") == 0) {
			stuck = false;
		} else if (strcmp(command, "start\n") == 0) {
			sensor_start(&b);
		} else if (strcmp(command, "greet\n") == 0) {
			sensor_greet(&b);
		} else if (strcmp(command, "round\n") == 0) {
			sensor_round(&b, sensors, count, form);
		} else if (sscanf(command, "rounds %d", &rounds) == 1) {
			while (rounds-- > 0)
				sensor_round(&b, sensors, count, form);
		} else {
			fprintf(stderr, "not known: %s", command);
			return 1;
		}
	}
	return 0;
}
