package devices

import (
	"bufio"
	"context"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/run"
)

// Forms and errors of the meter: SCPI-1999 as restated in programming guides
// (see package scpi); the values are invented.
func TestMultimeterObeys(t *testing.T) {
	volts := 4.8123456
	m, err := NewMultimeter(InProcess(), func(q run.Quantity) float64 {
		return map[run.Quantity]float64{run.Voltage: volts, run.Current: -0.5, run.Temperature: math.NaN()}[q]
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ say, want string }{
		{"*IDN?", MeterIdentity},
		{"FETC?", ""},
		{"SYST:ERR?", `-230,"Data corrupt or stale"`},
		{"SYST:ERR?", `0,"No error"`},
		{"READ?", "+4.81230000E+00"},
		{"CONFIGURE:CURRENT:DC", ""},
		{"INITIATE", ""},
		{"FETCH?", "-5.00000000E-01"},
		{":MEASURE:VOLTAGE:DC? 10", "+4.81230000E+00"},
		{"MEAS:TEMP?", "+9.91000000E+37"},
		{"MEAS:RES?", ""},
		{"MEAS:VOLT:DC", ""},
		{"SYSTEM:ERROR:NEXT?", `-113,"Undefined header"`},
		{"*CLS", ""},
		{"SYST:ERR?", `0,"No error"`},
		{"CONF:VOLT:DC 1", ""}, // 4.8 V do not fit into 1 V
		{"READ?", "+9.90000000E+37"},
		{"CONF?", `"VOLT +1.000000E+00"`},
		{"MEAS:VOLT:DC? 100,0.001", "+4.81200000E+00"},
		{"CONF:VOLT:DC 5000", ""},
		{"SYST:ERR?", `-222,"Data out of range"`},
		{"CONF:VOLT:DC x", ""},
		{"SYST:ERR?", `-222,"Data out of range"`},
		{"*RST", ""},
		{"", ""},
	} {
		if got := m.execute(c.say); got != c.want {
			t.Errorf("%q: got %q, want %q", c.say, got, c.want)
		}
	}
	volts = 0.0123456 // the 1 V range counts 10 µV
	if got := m.execute("READ?"); got != "+1.23500000E-02" {
		t.Errorf("a small value: %q", got)
	}
	volts = -1000
	if got := m.execute("READ?"); got != "-9.90000000E+37" {
		t.Errorf("beyond every range: %q", got)
	}
}

// The newest entry of a full queue says that it overflowed (SCPI-1999, volume 2,
// 21.8, as restated in programming guides).
func TestErrorQueueOverflows(t *testing.T) {
	m, err := NewMultimeter(InProcess(), func(run.Quantity) float64 { return 0 })
	if err != nil {
		t.Fatal(err)
	}
	for range queueDepth + 5 {
		m.execute("NONSENSE")
	}
	for i := range queueDepth {
		want := `-113,"Undefined header"`
		if i == queueDepth-1 {
			want = `-350,"Queue overflow"`
		}
		if got := m.execute("SYST:ERR?"); got != want {
			t.Errorf("entry %d: %s", i, got)
		}
	}
	if got := m.execute("SYST:ERR?"); got != `0,"No error"` {
		t.Errorf("at the end: %s", got)
	}
}

// The registers have 16 bits, the bus voltage's no negative side: SBOS547 (June
// 2011); 11.98 V and 10 A over 2 mΩ are its worked example.
func TestBoardLines(t *testing.T) {
	values := map[string][2]float64{"1": {11.98, 10}, "2": {-1, -99}, "3": {99, 99}, "4": {5, math.NaN()}}
	b, err := NewBoard(InProcess(), nil, func(channel string, q run.Quantity) float64 { return values[channel][q] }, time.Second)
	if err != nil {
		t.Fatal(err)
	}
	for channel, want := range map[string]string{
		"1": "ch=1 bus=9584 shunt=8000\n",
		"2": "ch=2 bus=0 shunt=-32768\n",
		"3": "ch=3 bus=32767 shunt=32767\n",
		"4": "ch=4 fault=no answer\n",
	} {
		if got := b.lines(channel); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	plain := NewPlainBoard(InProcess(), nil, func(channel string, q run.Quantity) float64 {
		return []float64{4.81234, 2.3, math.NaN()}[q]
	}, time.Second)
	if got := plain.lines("far"); got != "far,4.8123,V\nfar,2.3000,A\n" {
		t.Errorf("got %q", got)
	}
}

// Both kinds of cable carry bytes unchanged both ways, do not echo, lose
// bytes that are not read, and end when the cable is removed.
func TestCables(t *testing.T) {
	test := func(t *testing.T, pair *Pair, host io.ReadWriteCloser) {
		defer host.Close()
		lines := bufio.NewReader(host)
		for _, text := range []string{"a\r\n", "\x03\x04\x11\n", "b\n"} {
			go func() { _, _ = io.WriteString(pair.Device, text) }()
			if got, err := lines.ReadString('\n'); err != nil || got != text {
				t.Fatalf("got %q, %v, want %q", got, err, text)
			}
		}
		go func() { _, _ = io.WriteString(host, "READ?\n") }()
		buffer := make([]byte, 16)
		if n, err := pair.Device.Read(buffer); err != nil || string(buffer[:n]) != "READ?\n" {
			t.Fatalf("the instrument heard %q, %v", buffer[:n], err)
		}
		ended := make(chan error)
		go func() { _, err := pair.Device.Read(buffer); ended <- err }()
		time.Sleep(10 * time.Millisecond)
		if err := pair.Device.Close(); err != nil {
			t.Error(err)
		}
		select {
		case err := <-ended:
			if err == nil {
				t.Error("the instrument heard something after the cable was parted")
			}
		case <-time.After(time.Minute):
			t.Error("the instrument still listens to a parted cable")
		}
	}
	t.Run("in-process", func(t *testing.T) {
		p := InProcess()
		if p.Kind() != "in-process" {
			t.Error(p.Kind())
		}
		test(t, p, p.Host)
	})
	t.Run("pseudo-terminal", func(t *testing.T) {
		p, err := NewTerminal()
		if err != nil {
			t.Skip("no pseudo-terminals here: ", err)
		}
		if p.Kind() != "pseudo-terminal" {
			t.Error(p.Kind())
		}
		host, err := os.OpenFile(p.Path, os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		test(t, p, host)
	})
}

// A board ends when its cable is removed and when its context ends.
func TestBoardStops(t *testing.T) {
	pair := InProcess()
	if err := pair.Host.Close(); err != nil {
		t.Fatal(err)
	}
	b := NewPlainBoard(pair, []string{"1"}, func(string, run.Quantity) float64 { return 1 }, time.Millisecond)
	if err := b.Run(t.Context()); err != nil {
		t.Errorf("parted: %v", err)
	}
	pair = NewPair()
	b = NewPlainBoard(pair, []string{"1"}, func(string, run.Quantity) float64 { return 1 }, time.Hour)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	if err := b.Run(ctx); err == nil || !strings.Contains(err.Error(), "deadline") {
		t.Errorf("told to stop: %v", err)
	}
}

func TestForgive(t *testing.T) {
	if n, err := ignoreTimeout(3, os.ErrDeadlineExceeded, 10); n != 10 || err != nil {
		t.Errorf("got %d, %v", n, err)
	}
	if n, err := ignoreTimeout(3, io.ErrClosedPipe, 10); n != 3 || err != io.ErrClosedPipe {
		t.Errorf("got %d, %v", n, err)
	}
}

// Until it has settled after a change the meter shows half of what is there.
func TestMultimeterSettles(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, err := NewMultimeter(InProcess(), func(run.Quantity) float64 { return 5 })
		if err != nil {
			t.Fatal(err)
		}
		m.Settling = 20 * time.Millisecond
		m.execute("CONF:VOLT:DC 10")
		if got := m.execute("READ?"); got != "+2.50000000E+00" {
			t.Errorf("at once: %s", got)
		}
		time.Sleep(25 * time.Millisecond)
		if got := m.execute("READ?"); got != "+5.00000000E+00" {
			t.Errorf("afterwards: %s", got)
		}
	})
}
