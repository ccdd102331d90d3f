/* The I2C bus of SDA = PC4 and SCL = PC5, with one master: this one. Every wait ends. */
#ifndef TWI_H
#define TWI_H

#include "sensor.h"

void twi_start(void);

enum bus_result twi_write(void *context, uint8_t address, uint8_t number, uint16_t word);
enum bus_result twi_read(void *context, uint8_t address, uint8_t number, uint16_t *word);

#endif
