package instrument

import (
	"context"
	"errors"
	"fmt"
	"io"
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
		return port.Over(o.Conn, framingOf(p), o.Clock), nil
	}
	if err := CheckPort(path); err != nil {
		return nil, err
	}
	wire, err := port.Open(ctx, path, p.WireSettings(), framingOf(p), o.Clock)
	if err != nil {
		return nil, portError(path, p, err)
	}
	return wire, nil
}

// connectRaw opens the port for a protocol without lines, or uses the connection of the options.
func connectRaw(ctx context.Context, p *profile.Profile, path string, o Options) (io.ReadWriteCloser, error) {
	if o.Conn != nil {
		return o.Conn, nil
	}
	if err := CheckPort(path); err != nil {
		return nil, err
	}
	wire, err := port.OpenRaw(ctx, path, p.Port)
	if err != nil {
		return nil, portError(path, p, err)
	}
	return wire, nil
}

// CheckPort returns an error for a path that cannot be a serial port.
func CheckPort(path string) error {
	if what := noPort(path); what != "" {
		return fault.Fault{Text: fmt.Sprintf("port %s: %s, not a serial port", path, what), Hint: portHint}
	}
	return nil
}

// portError adds to an error of opening what would be right, where that is known.
func portError(path string, p *profile.Profile, err error) error {
	var code *serial.PortError
	switch {
	case !errors.As(err, &code):
	case code.Code() == serial.InvalidSerialPort:
		return fault.Fault{Text: fmt.Sprintf("port %s: not a serial port", path), Hint: portHint}
	case code.Code() == serial.InvalidSpeed:
		return fault.Fault{Text: fmt.Sprintf("port %s: does not do %d baud", path, p.Port.Baud), Hint: "the rate is the profile's, port.baud"}
	}
	return err
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
