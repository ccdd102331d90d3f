/*
 * The board on a computer, for the test: a bus whose chips are described on standard
 * input, and a serial port that is standard output. One command a line:
 *
 *     form words | form values
 *     sensor ID ADDRESS SHUNT_UOHM     a sensor that the board has
 *     set ADDRESS NUMBER WORD          what a register reads (hexadecimal)
 *     gone ADDRESS                     the chip does not answer any more
 *     greet | round
 */
#include <stdio.h>
#include <string.h>

#include "sensor.h"

struct chip {
	bool there;
	uint16_t words[256];
};

static struct chip chips[128];

static bool bus_write(void *context, uint8_t address, uint8_t number, uint16_t word)
{
	(void)context;
	if (!chips[address].there)
		return false;
	chips[address].words[number] = word;
	return true;
}

static bool bus_read(void *context, uint8_t address, uint8_t number, uint16_t *word)
{
	(void)context;
	if (!chips[address].there)
		return false;
	*word = chips[address].words[number];
	return true;
}

static void print(void *context, const char *text)
{
	(void)context;
	fputs(text, stdout);
}

int main(void)
{
	const struct board b = {0, bus_write, bus_read, print, 0x00C0FFEE};
	static char ids[8][32];
	static struct sensor sensors[8];
	char command[128], word[32];
	unsigned address, number, value;
	int count = 0;
	enum form form = WORDS;

	while (fgets(command, sizeof command, stdin)) {
		if (sscanf(command, "form %31s", word) == 1) {
			form = strcmp(word, "values") == 0 ? VALUES : WORDS;
		} else if (count < 8 && sscanf(command, "sensor %31s %x %u", ids[count], &address, &value) == 3) {
			struct sensor s = {ids[count], (uint8_t)address, value, false};
			sensors[count++] = s;
		} else if (sscanf(command, "set %x %x %x", &address, &number, &value) == 3) {
			chips[address & 0x7F].there = true;
			chips[address & 0x7F].words[number & 0xFF] = (uint16_t)value;
		} else if (sscanf(command, "gone %x", &address) == 1) {
			chips[address & 0x7F].there = false;
		} else if (strcmp(command, "greet\n") == 0) {
			sensor_greet(&b);
		} else if (strcmp(command, "round\n") == 0) {
			sensor_round(&b, sensors, count, form);
		} else {
			fprintf(stderr, "not known: %s", command);
			return 1;
		}
	}
	return 0;
}
