//go:build !linux

package port

import "go.bug.st/serial"

// openWire opens a serial port.
func openWire(path string, mode *serial.Mode) (serial.Port, error) { return serial.Open(path, mode) }
