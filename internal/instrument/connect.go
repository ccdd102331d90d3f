package instrument

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"go.bug.st/serial"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
)

// connect opens the port, or uses the connection of the options.
func connect(ctx context.Context, p *profile.Profile, path string, o Options) (*port.Port, error) {
	if o.Conn != nil {
		return port.Over(o.Conn, p.Port.Terminator, o.Clock), nil
	}
	if what := noPort(path); what != "" {
		return nil, fault.Fault{Text: fmt.Sprintf("port %s: %s, not a serial port", path, what), Hint: portHint}
	}
	wire, err := port.Open(ctx, path, p.Port, o.Clock)
	var code *serial.PortError
	switch {
	case !errors.As(err, &code):
		return wire, err
	case code.Code() == serial.InvalidSerialPort:
		return nil, fault.Fault{Text: fmt.Sprintf("port %s: not a serial port", path), Hint: portHint}
	case code.Code() == serial.InvalidSpeed:
		return nil, fault.Fault{Text: fmt.Sprintf("port %s: does not do %d baud", path, p.Port.Baud), Hint: "the rate is the profile's, port.baud"}
	}
	return nil, err
}

const portHint = "serial ports are /dev/serial/by-id/…, /dev/ttyUSB… or /dev/ttyACM…"

// noPort returns what a path is that cannot be a serial port; "" if it may be one or does
// not exist.
func noPort(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	switch mode := info.Mode(); {
	case mode.IsRegular():
		return "is a file"
	case mode.IsDir():
		return "is a folder"
	case mode&fs.ModeCharDevice == 0:
		return "is something else"
	}
	return ""
}
