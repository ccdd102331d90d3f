//go:build !linux

package port

import (
	"errors"

	"go.bug.st/serial"

	"ohmkeep/internal/fault"
)

// openWire opens a serial port.
func openWire(path string, mode *serial.Mode) (serial.Port, error) {
	conn, err := serial.Open(path, mode)
	if e, ok := errors.AsType[*serial.PortError](err); ok && e.Code() == serial.PortNotFound {
		err = fault.Missing
	}
	return conn, err
}
