/* The serial port, for output alone. */
#ifndef UART_H
#define UART_H

void uart_start(void);

/* Send a text; returns when its last byte is on its way. No byte is lost. */
void uart_print(void *context, const char *text);

#endif
