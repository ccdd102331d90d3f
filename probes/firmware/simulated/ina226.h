/*
 * An INA226 as the I2C bus and the clock see it, written from the datasheet (SBOS547, June 2011)
 * and not from sensor.c: registers, register pointer, conversion times, conversion-ready flag.
 * What it measures is a number that no two conversions of one chip share.
 *
 * From memory of the datasheet: both result registers change together, when the last average of
 * the shunt and bus voltage is done. Not modelled: alert limits, triggered and single modes, and
 * errors of the measurement.
 */
#ifndef INA226_H
#define INA226_H

#include <stdbool.h>
#include <stdint.h>

struct ina226 {
	uint8_t address; /* seven bits */
	uint16_t configuration, shunt, bus, calibration, mask, limit;
	bool ready; /* CVRF: a conversion ended since the mask register was read */

	uint8_t pointer; /* which register the master reads */
	uint8_t received[3];
	int bytes; /* of the present transfer */
	bool reads; /* the master reads in the present transfer */
	bool configured; /* by the master in the present transfer */

	uint32_t number; /* of the newest conversion since the power was on for the first time; 0 = none in the registers */
	uint32_t made;   /* conversions until now */
	bool took_shunt, took_bus; /* the master has read the newest conversion's registers */
	uint32_t random; /* state of the generator of the conversion's jitter */
};

void ina226_power_on(struct ina226 *c);

/* Nanoseconds of the next conversion, by the configuration; 0 = it makes none. The chip's own
 * clock is off by up to 10 %, another part for each conversion. */
uint64_t ina226_conversion_time(struct ina226 *c);

/* The conversion is done. */
void ina226_convert(struct ina226 *c);

/* One transfer of the bus: start or repeated start with an address byte, then bytes, then stop.
 * Start and write report whether the chip acknowledges. */
bool ina226_start(struct ina226 *c, uint8_t address_byte);
bool ina226_write(struct ina226 *c, uint8_t byte);
uint8_t ina226_read(struct ina226 *c);
void ina226_stop(struct ina226 *c);

#endif
