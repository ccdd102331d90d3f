package instrument_test

import (
	"errors"
	"io"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/modbus"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/simulate/devices"
)

// A slave that does not answer is asked once, so that it delays the other slaves of the line by one time-out. That its
// port is open is known before.
func TestAbsentSlaveIsAskedOnce(t *testing.T) {
	p, err := profile.Load("modbus-dc", "")
	if err != nil {
		t.Fatal(err)
	}
	p.Registers.Timeout = 50 * time.Millisecond
	pair := devices.InProcess()
	defer pair.Device.Close()
	asked := make(chan int)
	go func() {
		n := 0
		for request := make([]byte, 8); ; n++ {
			if _, err := io.ReadFull(pair.Device, request); err != nil {
				asked <- n
				return
			}
		}
	}()
	var opened time.Time
	begun := time.Now()
	_, err = instrument.Open(t.Context(), p, "", instrument.Options{Conn: pair.Host, Slave: 1, PortOpened: func() { opened = time.Now() }})
	if !errors.Is(err, modbus.ErrNoAnswer) {
		t.Errorf("got %v", err)
	}
	if opened.IsZero() || time.Since(opened) < p.Registers.Timeout {
		t.Errorf("opened after %v of %v", opened.Sub(begun), time.Since(begun))
	}
	if n := <-asked; n != 1 {
		t.Errorf("asked %d times", n)
	}
}
