package port

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"
	"time"

	"go.bug.st/serial"

	"ohmkeep/internal/instrument/profile"
)

var parities = map[profile.Parity]serial.Parity{
	profile.NoParity: serial.NoParity, profile.OddParity: serial.OddParity, profile.EvenParity: serial.EvenParity,
	profile.MarkParity: serial.MarkParity, profile.SpaceParity: serial.SpaceParity,
}

// Open opens a serial port and returns when it is ready to be read: after the profile's settling
// time, and when it is known whether a line is being sent. Times are read from clock.
func Open(ctx context.Context, path string, settings profile.Port, framing Framing, clock func() time.Time) (*Port, error) {
	conn, err := openConfigured(ctx, path, settings)
	if err != nil {
		return nil, err
	}
	p := newPort(conn, framing, clock)
	if err := p.listen(conn); err != nil {
		_ = conn.Close()
		return nil, fmt.Errorf("port %s: %w", path, endError(err))
	}
	p.start()
	return p, nil
}

// openConfigured opens a serial port with its settings and returns after the settling time.
func openConfigured(ctx context.Context, path string, settings profile.Port) (serial.Port, error) {
	mode := &serial.Mode{BaudRate: settings.Baud, DataBits: settings.DataBits, Parity: parities[settings.Parity]}
	if settings.StopBits == 2 {
		mode.StopBits = serial.TwoStopBits
	}
	conn, err := openWire(path, mode)
	if err != nil {
		return nil, fmt.Errorf("port %s: %w", path, explain(err))
	}
	if err := setUp(ctx, conn, settings); err != nil {
		_ = conn.Close()
		return nil, fmt.Errorf("port %s: %w", path, err)
	}
	return conn, nil
}

// setUp sets the modem lines and waits until the device has started. Bytes received meanwhile are
// discarded.
func setUp(ctx context.Context, conn serial.Port, settings profile.Port) error {
	wired := true
	for _, line := range []struct {
		name string
		want *bool
		set  func(bool) error
	}{{"DTR", settings.DTR, conn.SetDTR}, {"RTS", settings.RTS, conn.SetRTS}} {
		if line.want == nil {
			continue
		}
		if err := line.set(*line.want); errors.Is(err, syscall.ENOTTY) {
			wired = false // a pseudo-terminal has no such wire, and needs none
		} else if err != nil {
			return fmt.Errorf("set %s: %w", line.name, err)
		}
	}
	if _, err := conn.GetModemStatusBits(); errors.Is(err, syscall.ENOTTY) {
		wired = false
	}
	if wired && settings.Settle > 0 { // without the wire nothing was reset
		select {
		case <-time.After(settings.Settle):
		case <-ctx.Done():
			return ctx.Err()
		}
		if err := conn.ResetInputBuffer(); err != nil {
			return fmt.Errorf("discard bytes received while the device started: %w", err)
		}
	}
	return nil
}

// listen waits briefly to find out whether a line is being sent whose start is missing. It leaves
// the read time-out of the port set.
func (p *Port) listen(conn serial.Port) error {
	if err := conn.SetReadTimeout(startSilence); err != nil {
		return err
	}
	var first [1]byte
	n, err := read(conn, first[:])
	if err != nil {
		return err
	}
	if n == 1 {
		p.framing.begun(first[0], p.clock())
	}
	return conn.SetReadTimeout(tick)
}

// explain adds the remedy to an error of the library.
func explain(err error) error {
	var p *serial.PortError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%w: is the device plugged in?", err)
	case errors.As(err, &p) && p.Code() == serial.PermissionDenied:
		return fmt.Errorf("%w: your user must be allowed to open serial ports, on many systems as a member of the group dialout", err)
	case errors.As(err, &p) && p.Code() == serial.PortBusy:
		return explain(ErrInUse)
	case errors.Is(err, ErrInUse):
		return fmt.Errorf("%w: another program or probe has it open", err)
	}
	return err
}
