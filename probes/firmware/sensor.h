/*
 * A sensor board in portable C99: reads INA226 chips and prints one line a chip and
 * round. What touches hardware is in struct board, which you fill in for your
 * microcontroller; nothing here allocates, waits by itself or uses floating point.
 *
 * Two forms of line: register words, for the profile ina226-registers, where the
 * computer knows the shunt; or finished values in uV and uA, for the profile
 * plain-lines, where the board has to know it.
 *
 * Register numbers and counts: INA226, SBOS547 (June 2011).
 */
#ifndef SENSOR_H
#define SENSOR_H

#include <stdbool.h>
#include <stdint.h>

enum {
	INA226_CONFIGURATION = 0x00,
	INA226_SHUNT = 0x01,    /* 2.5 uV a count, two's complement */
	INA226_BUS = 0x02,      /* 1.25 mV a count */
	INA226_FLAGS = 0x06,    /* mask/enable */
	INA226_MAKER = 0xFE,    /* reads 5449h */

	INA226_MAKER_ID = 0x5449,
	/* 16 averages of 1.1 ms each for shunt and bus, continuous: about 28 conversions a second */
	INA226_SET_UP = 0x4527,
	INA226_OVF = 1 << 2,    /* of the flags: the chip's arithmetic ran over */
	INA226_CVRF = 1 << 3    /* a conversion is done; reading the flags takes it away */
};

/* What a microcontroller does for this board. The first argument is context. */
struct board {
	void *context;
	/* Write or read a 16-bit register, most significant byte first; false: no answer. */
	bool (*write)(void *context, uint8_t address, uint8_t number, uint16_t word);
	bool (*read)(void *context, uint8_t address, uint8_t number, uint16_t *word);
	void (*print)(void *context, const char *text); /* to the serial port */
	uint32_t serial;                                /* the microcontroller's own number */
};

enum form { WORDS, VALUES };

struct sensor {
	const char *id;      /* the channel in the run file: letters and digits */
	uint8_t address;     /* on the bus, 40h to 4Fh */
	uint32_t shunt_uohm; /* VALUES only; 0 = the current is not printed */
	bool ready;          /* it was found and set up */
};

/* Print who the board is. Call it at the start and about once a minute: the computer
 * misses what is said while it opens the port. */
void sensor_greet(const struct board *b);

/* Read and print every sensor once. Call it as often as you want lines. */
void sensor_round(const struct board *b, struct sensor *sensors, int count, enum form form);

#endif
