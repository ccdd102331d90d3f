package instrument_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/scpi"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

// cables runs a test over each kind of connection that this system has.
func cables(t *testing.T, test func(t *testing.T, pair *devices.Pair)) {
	t.Run("in-process", func(t *testing.T) { simulated(t, test) })
	t.Run("pseudo-terminal", func(t *testing.T) { test(t, terminal(t)) })
}

// simulated runs a test over a connection inside the process, with a simulated clock.
func simulated(t *testing.T, test func(t *testing.T, pair *devices.Pair)) {
	synctest.Test(t, func(t *testing.T) { test(t, devices.InProcess()) })
}

func terminal(t *testing.T) *devices.Pair {
	t.Helper()
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	t.Cleanup(func() { _ = pair.Device.Close() })
	return pair
}

func load(t *testing.T, name string) *profile.Profile {
	t.Helper()
	p, err := profile.Load(name, "")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func open(t *testing.T, p *profile.Profile, pair *devices.Pair) instrument.Instrument {
	t.Helper()
	device, err := instrument.Open(bounded(t), p, pair.Path, instrument.Options{Conn: pair.Host})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = device.Close() })
	return device
}

func bounded(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// play runs a simulated instrument until the test ends.
func play(t *testing.T, device interface{ Run(context.Context) error }) {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); _ = device.Run(ctx) }()
	t.Cleanup(func() { cancel(); <-done })
}

// place returns what the simulated instruments measure: 4.8123456 V and 2.3105 A at channel 1,
// invented; NaN at channel 2.
func place(channel string, q run.Quantity) float64 {
	switch {
	case channel == "2":
		return math.NaN()
	case q == run.Voltage:
		return 4.8123456
	case q == run.Current:
		return 2.3105
	}
	return math.NaN()
}

func TestMeter(t *testing.T) {
	t.Parallel()
	cables(t, func(t *testing.T, pair *devices.Pair) {
		volts := 4.8123456
		sim, err := devices.NewMultimeter(pair, func(q run.Quantity) float64 {
			if q == run.Voltage {
				return volts
			}
			return 99 // beyond its 10 A range
		})
		if err != nil {
			t.Fatal(err)
		}
		play(t, sim)
		begun := time.Now()
		device := open(t, load(t, "scpi-multimeter"), pair)
		if device.Identity() != devices.MeterIdentity {
			t.Errorf("identity %q", device.Identity())
		}
		s, err := device.Measure(bounded(t), "far end", run.Voltage)
		// 4.8123456 V in a range of 0.1 mV counts.
		if err != nil || !s.Good() || s.Value != 4.8123 || s.Text != "+4.81230000E+00" || s.Unit != "V" || s.Channel != "far end" {
			t.Errorf("got %+v, %v", s, err)
		}
		if s.Time.Before(begun) || s.Time.After(time.Now()) {
			t.Errorf("measured at %v", s.Time)
		}
		s, err = device.Measure(bounded(t), "near", run.Current)
		if err != nil || s.Good() || s.Fault != "overload" || s.Value != 0 || s.Text != "" {
			t.Errorf("beyond the range: %+v, %v", s, err)
		}
		if _, err = device.Measure(bounded(t), "", run.Temperature); err == nil || !strings.Contains(err.Error(), "does not say how to measure a temperature") {
			t.Errorf("temperature: %v", err)
		}
		if _, err = device.Next(bounded(t)); !errors.Is(err, instrument.ErrAsked) {
			t.Errorf("next: %v", err)
		}
		if err := device.Close(); err != nil {
			t.Error(err)
		}
	})
}

func TestMeterComplains(t *testing.T) {
	pair := devices.NewPair()
	sim, err := devices.NewMultimeter(pair, func(run.Quantity) float64 { return 1 })
	if err != nil {
		t.Fatal(err)
	}
	play(t, sim)
	p := load(t, "scpi-multimeter")
	p.Query.Measure[run.Voltage] = []string{"CONF:WRONG", "READ?"}
	_, err = open(t, p, pair).Measure(bounded(t), "", run.Voltage)
	var queue scpi.Queue
	if !errors.As(err, &queue) || queue.Errors[0] != (scpi.Error{Number: -113, Text: "Undefined header"}) {
		t.Errorf("got %v", err)
	}
}

// A meter that does not answer gives an error within the time-out, and later answers are matched to
// their queries.
func TestSilentMeter(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		sim, err := devices.NewMultimeter(pair, func(run.Quantity) float64 { return 1.25 })
		if err != nil {
			t.Fatal(err)
		}
		play(t, sim)
		p := load(t, "scpi-multimeter")
		p.Query.Timeout = 50 * time.Millisecond
		device := open(t, p, pair)
		sim.Silence(true)
		begun := time.Now()
		if _, err := device.Measure(bounded(t), "", run.Voltage); !errors.Is(err, scpi.ErrTimeout) {
			t.Errorf("got %v", err)
		}
		if took := time.Since(begun); took > time.Second {
			t.Errorf("took %v", took)
		}
		sim.Silence(false)
		if s, err := device.Measure(bounded(t), "", run.Voltage); err != nil || s.Value != 1.25 {
			t.Errorf("afterwards: %+v, %v", s, err)
		}
	})
}

func TestUnpluggedMeter(t *testing.T) {
	cables(t, func(t *testing.T, pair *devices.Pair) {
		sim, err := devices.NewMultimeter(pair, func(run.Quantity) float64 { return 1 })
		if err != nil {
			t.Fatal(err)
		}
		play(t, sim)
		device := open(t, load(t, "scpi-multimeter"), pair)
		if err := sim.Unplug(); err != nil {
			t.Fatal(err)
		}
		if _, err := device.Measure(bounded(t), "", run.Voltage); !errors.Is(err, port.ErrGone) {
			t.Errorf("got %v", err)
		}
		if err := device.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
}

// next returns the next good sample.
func next(t *testing.T, device instrument.Instrument) reading.Sample {
	t.Helper()
	s, err := device.Next(bounded(t))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestRegisterBoard(t *testing.T) {
	t.Parallel()
	cables(t, func(t *testing.T, pair *devices.Pair) {
		sim, err := devices.NewBoard(pair, []string{"1", "2"}, place, 20*time.Millisecond)
		if err != nil {
			t.Fatal(err)
		}
		device := open(t, load(t, "ina226-lines"), pair)
		play(t, sim)
		// 4.8123456 V are 3849.9 counts of 1.25 mV, 2.3105 A over 2 mΩ 1848.4 of 2.5 µV.
		s := next(t, device)
		if s.Channel != "1" || s.Quantity != run.Voltage || s.Value != 4.8125 || s.Text != "4.8125" || s.Raw != "3850" || !s.Good() {
			t.Errorf("got %+v", s)
		}
		s = next(t, device)
		if s.Channel != "1" || s.Quantity != run.Current || s.Value != 2.31 || s.Unit != "A" || s.Raw != "1848" {
			t.Errorf("got %+v", s)
		}
		if s = next(t, device); s.Channel != "2" || s.Good() || s.Fault != "the board says: no answer" {
			t.Errorf("got %+v", s)
		}
		if device.Identity() != devices.BoardGreeting {
			t.Errorf("identity %q", device.Identity())
		}
		if c := device.Counters(); c.Bad != 0 || c.Comment != 1 || c.Lines < 3 {
			t.Errorf("counted %+v", c)
		}
	})
}

// After each fault of a line the next line is read right.
func TestHostileBoard(t *testing.T) {
	pair := terminal(t)
	sim := devices.NewPlainBoard(pair, nil, place, time.Hour)
	device := open(t, load(t, "plain-lines"), pair)
	say := func(text string) {
		t.Helper()
		if err := sim.Send(text); err != nil {
			t.Fatal(err)
		}
	}
	sim.Slow(time.Millisecond)
	say("1,4.812,V\r\n")
	sim.Slow(0)
	say("hello\n\xff\xfe\x00\n1,NaN,V\n\n" + strings.Repeat("9", 5000) + "\n1,4.813,V\n# done\n2,2310.50,mA\n")
	for _, want := range []string{"4.812", "4.813", "2310.50"} {
		if s := next(t, device); s.Text != want || !s.Good() {
			t.Errorf("got %+v, want %s", s, want)
		}
	}
	if c, want := device.Counters(), (instrument.Counters{Lines: 9, Bad: 5, Comment: 1}); c != want {
		t.Errorf("counted %+v, want %+v", c, want)
	}
	short, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
	defer cancel()
	if _, err := device.Next(short); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("silence: %v", err)
	}
	say("3,1,V") // no end
	if err := sim.Unplug(); err != nil {
		t.Fatal(err)
	}
	if s, err := device.Next(bounded(t)); !errors.Is(err, port.ErrGone) {
		t.Errorf("unplugged: %+v, %v", s, err)
	}
}

// A sample that waited while the port was not read is not returned as a new one.
func TestMeasureWaitsForNow(t *testing.T) {
	t.Parallel()
	cables(t, func(t *testing.T, pair *devices.Pair) {
		sim := devices.NewPlainBoard(pair, nil, place, time.Hour)
		device := open(t, load(t, "plain-lines"), pair)
		for range 20 {
			if err := sim.Send("1,1,V\n"); err != nil {
				t.Fatal(err)
			}
		}
		measured := make(chan struct{})
		var sending sync.WaitGroup
		sending.Go(func() {
			for waiting := true; waiting; { // Measure may begin late
				time.Sleep(100 * time.Millisecond)
				_ = sim.Send("2,3,V\n1,3,A\n1,2,V\n")
				select {
				case <-measured:
					waiting = false
				default:
				}
			}
		})
		s, err := device.Measure(bounded(t), "1", run.Voltage)
		if err != nil || s.Value != 2 {
			t.Errorf("got %+v, %v, want 2 V", s, err)
		}
		close(measured)
		sending.Wait()
	})
}

func TestClockAndLog(t *testing.T) {
	pair := devices.InProcess()
	sim := devices.NewPlainBoard(pair, nil, place, time.Hour)
	then := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	var log []string
	device, err := instrument.Open(t.Context(), load(t, "plain-lines"), "", instrument.Options{
		Conn: pair.Host, Clock: func() time.Time { return then },
		Log: func(e instrument.Event) { log = append(log, string(e.Kind)+" "+e.Text) }})
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	if err := sim.Send("# hi\nx\n1,2,V\n"); err != nil {
		t.Fatal(err)
	}
	if s := next(t, device); !s.Time.Equal(then) {
		t.Errorf("measured at %v", s.Time)
	}
	if got := strings.Join(log, "; "); got != "comment # hi; bad x; spoke 1,2,V" {
		t.Errorf("logged %s", got)
	}
}
