/*
 * A sensor board in portable C99: reads INA226 chips and prints one line a chip and
 * conversion. What touches hardware is in struct board, which you fill in for your
 * microcontroller (the folder avr has one that is complete); nothing here allocates,
 * waits by itself or uses floating point.
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
	INA226_OVF = 1 << 2,    /* of the flags: the chip's arithmetic overflowed */
	INA226_CVRF = 1 << 3    /* a conversion is done; reading the flags clears it */
};

/* Rounds without a conversion until that is a fault, and between two lines of a fault that lasts. */
enum { SENSOR_PATIENCE = 200 };

/* How an access to the I2C bus ended. */
enum bus_result {
	BUS_DONE,
	BUS_NO_ANSWER, /* no chip has this address, or it did not acknowledge */
	BUS_STUCK      /* the bus was not free, or a chip held a line low */
};

/* What a microcontroller does for this board. The first argument is context. */
struct board {
	void *context;
	/* Write or read a 16-bit register, most significant byte first. */
	enum bus_result (*write)(void *context, uint8_t address, uint8_t number, uint16_t word);
	enum bus_result (*read)(void *context, uint8_t address, uint8_t number, uint16_t *word);
	void (*print)(void *context, const char *text); /* to the serial port */
	uint32_t serial;                                /* the board's own number */
	const char *reset;                              /* why it started, such as "brown-out"; 0 = not known */
};

enum form { WORDS, VALUES };

/* What prevents a value. */
enum sensor_fault { FAULT_NONE, FAULT_NO_ANSWER, FAULT_BUS_STUCK, FAULT_RESET, FAULT_NO_CONVERSION };

struct sensor {
	const char *id;      /* the channel in the run file: letters and digits */
	uint8_t address;     /* on the bus, 40h to 4Fh */
	uint32_t shunt_uohm; /* VALUES only; 0 = the current is not printed */

	/* For sensor.c alone; all zero at the start. */
	bool ready;              /* it was found and set up */
	uint16_t waited;         /* rounds since its last conversion */
	enum sensor_fault fault; /* the last one, and the rounds since it was printed */
	uint16_t repeated;
};

/* Print the first lines after a reset. A line that the reset cut off becomes a bad one, so that
 * it cannot be read as a whole one. */
void sensor_start(const struct board *b);

/* Print who the board is and why it started. Call it about once a minute: the computer misses
 * what is sent while it opens the port. */
void sensor_greet(const struct board *b);

/* Print the new conversion of every sensor that has one, or its fault: once when it begins and
 * then every SENSOR_PATIENCE rounds. Call it at least every 30 ms to print each conversion. */
void sensor_round(const struct board *b, struct sensor *sensors, int count, enum form form);

#endif
