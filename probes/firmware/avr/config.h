/* What you may change: the clock, the line and your sensors. */
#ifndef CONFIG_H
#define CONFIG_H

#define F_CPU 16000000UL /* the crystal, in Hz */
#define BAUD 115200UL    /* as in the profile */
#define BUS_HZ 100000UL  /* the I2C bus; long wires want no more */

#ifndef SERIAL_NUMBER
#define SERIAL_NUMBER 1UL /* another one for each of your boards */
#endif

/* WORDS for the profile ina226-registers, VALUES for plain-lines. */
#define FORM WORDS

/* Channel in the run file, address on the bus, shunt in microohm (for VALUES). The pins A0 and
 * A1 of the chip choose the address: both at GND 40h; A0 at VS 41h (SBOS547, table of addresses). */
#define SENSORS \
	{.id = "1", .address = 0x40, .shunt_uohm = 2000}, \
	{.id = "2", .address = 0x41, .shunt_uohm = 2000}

#endif
