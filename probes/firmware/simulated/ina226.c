#include "ina226.h"

enum {
	CONFIGURATION = 0x00,
	SHUNT = 0x01,
	BUS = 0x02,
	POWER = 0x03,
	CURRENT = 0x04,
	CALIBRATION = 0x05,
	MASK = 0x06,
	LIMIT = 0x07,
	MANUFACTURER = 0xFE,
	DIE = 0xFF
};

enum { POWER_ON_CONFIGURATION = 0x4127, CVRF = 0x0008 };

void ina226_power_on(struct ina226 *c)
{
	c->configuration = POWER_ON_CONFIGURATION;
	c->shunt = c->bus = c->calibration = c->mask = c->limit = 0;
	c->ready = false;
	c->pointer = CONFIGURATION;
	c->bytes = 0;
	c->number = 0;
	if (c->random == 0)
		c->random = 0x9E3779B9u ^ c->address;
}

uint64_t ina226_conversion_time(struct ina226 *c)
{
	static const uint32_t microseconds[8] = {140, 204, 332, 588, 1100, 2116, 4156, 8244};
	static const uint32_t averages[8] = {1, 4, 16, 64, 128, 256, 512, 1024};
	uint32_t mode = c->configuration & 7, each = 0;
	uint64_t nominal;

	if (!(mode & 4)) /* power-down, or triggered */
		return 0;
	if (mode & 1)
		each += microseconds[c->configuration >> 3 & 7];
	if (mode & 2)
		each += microseconds[c->configuration >> 6 & 7];
	nominal = (uint64_t)each * averages[c->configuration >> 9 & 7] * 1000;
	c->random = c->random * 1664525u + 1013904223u;
	return nominal * (900 + (c->random >> 16) % 201) / 1000;
}

void ina226_convert(struct ina226 *c)
{
	c->number = ++c->made;
	/* Both words name the conversion: the bus word counts up to 35 V, the shunt word goes through
	 * its whole range in steps of a prime. */
	c->bus = (uint16_t)(c->number % 28000);
	c->shunt = (uint16_t)(int16_t)((int32_t)(c->number * 7919u % 65000u) - 32500);
	c->ready = true;
	c->took_shunt = c->took_bus = false;
}

static uint16_t current(const struct ina226 *c)
{
	return (uint16_t)((int32_t)(int16_t)c->shunt * c->calibration / 2048);
}

/* The register's word, and what reading it does. */
static uint16_t value(struct ina226 *c)
{
	uint16_t mask = (uint16_t)(c->mask | (c->ready ? CVRF : 0));

	switch (c->pointer) {
	case CONFIGURATION:
		return c->configuration;
	case SHUNT:
		c->took_shunt = true;
		return c->shunt;
	case BUS:
		c->took_bus = true;
		return c->bus;
	case POWER:
		return (uint16_t)((uint32_t)(current(c) & 0x8000 ? 0x10000 - current(c) : current(c)) * c->bus / 20000);
	case CURRENT:
		return current(c);
	case CALIBRATION:
		return c->calibration;
	case MASK:
		c->ready = false;
		return mask;
	case LIMIT:
		return c->limit;
	case MANUFACTURER:
		return 0x5449;
	case DIE:
		return 0x2260;
	default:
		return 0;
	}
}

bool ina226_start(struct ina226 *c, uint8_t address_byte)
{
	c->bytes = 0;
	c->reads = address_byte & 1;
	return address_byte >> 1 == c->address;
}

bool ina226_write(struct ina226 *c, uint8_t byte)
{
	uint16_t word;

	if (c->bytes == 0)
		c->pointer = byte;
	if (c->bytes < 3)
		c->received[c->bytes++] = byte;
	if (c->bytes != 3)
		return true;
	c->bytes++; /* a fourth byte does nothing */
	word = (uint16_t)(c->received[1] << 8 | c->received[2]);
	switch (c->pointer) {
	case CONFIGURATION:
		if (word & 0x8000) {
			ina226_power_on(c); /* RST */
		} else {
			c->configuration = word;
			c->ready = false;
		}
		c->configured = true;
		break;
	case CALIBRATION:
		c->calibration = word & 0x7FFF;
		break;
	case MASK:
		c->mask = word & 0xFC03;
		break;
	case LIMIT:
		c->limit = word;
		break;
	}
	return true;
}

uint8_t ina226_read(struct ina226 *c)
{
	uint16_t word;

	if (c->bytes == 0) {
		word = value(c);
		c->received[1] = (uint8_t)(word >> 8);
		c->received[2] = (uint8_t)word;
	}
	return c->bytes < 2 ? c->received[++c->bytes] : 0xFF;
}

void ina226_stop(struct ina226 *c)
{
	c->bytes = 0;
}
