/* Why the microcontroller started. */
#ifndef RESET_H
#define RESET_H

/* "power-on", "brown-out", "watchdog", "reset pin"; or 0 where a boot loader has cleared it. */
const char *reset_cause(void);

#endif
