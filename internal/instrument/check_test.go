package instrument_test

import (
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

const moment = 150 * time.Millisecond

// checkPath checks the device at a path, opened as a probe is.
func checkPath(t *testing.T, p *profile.Profile, path string, o instrument.Options) (instrument.Report, error) {
	t.Helper()
	ctx := bounded(t)
	return instrument.Check(ctx, p, path, moment, o, func(o instrument.Options) (instrument.Instrument, error) {
		return instrument.Open(ctx, p, path, o)
	})
}

func check(t *testing.T, profile string, pair *devices.Pair) instrument.Report {
	t.Helper()
	r, err := checkPath(t, load(t, profile), pair.Path, instrument.Options{Conn: pair.Host})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestCheckBoard(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		sim, err := devices.NewBoard(pair, []string{"1", "2"}, place, 10*time.Millisecond)
		if err != nil {
			t.Fatal(err)
		}
		play(t, sim)
		r := check(t, "ina226-lines", pair)
		if !r.OK() || len(r.Seen) != 4 || r.Seen[0].Good < 3 || r.Seen[0].Last.Text != "4.8125" {
			t.Errorf("got %+v", r)
		}
		if r.Seen[2].Faulty < 3 || r.Seen[2].Good != 0 || !strings.Contains(strings.Join(r.Advice, "\n"), `channel "2" gave no usable voltage: the board says: no answer`) {
			t.Errorf("a sensor without answer: %+v, %v", r.Seen[2], r.Advice)
		}
	})
}

func TestCheckMeter(t *testing.T) {
	t.Parallel()
	pair := devices.NewPair()
	sim, err := devices.NewMultimeter(pair, func(q run.Quantity) float64 { return place("1", q) })
	if err != nil {
		t.Fatal(err)
	}
	play(t, sim)
	r := check(t, "scpi-multimeter", pair)
	if !r.OK() || r.Identity != devices.MeterIdentity || len(r.Seen) != 2 || r.Seen[0].Good < 1 || r.Lines == 0 {
		t.Errorf("got %+v", r)
	}
}

// A check of a meter that does not know its command fails with the meter's own message.
func TestCheckMeterComplains(t *testing.T) {
	t.Parallel()
	pair := devices.NewPair()
	sim, err := devices.NewMultimeter(pair, func(run.Quantity) float64 { return 1 })
	if err != nil {
		t.Fatal(err)
	}
	play(t, sim)
	p := load(t, "scpi-multimeter")
	p.Query.Start = []string{"*CLS", "SYST:HELLO"}
	p.Query.Measure[run.Current] = []string{"CONF:AMPS", "READ?"}
	r, err := checkPath(t, p, pair.Path, instrument.Options{Conn: pair.Host})
	if err != nil || r.OK() || len(r.Queue) != 1 || !strings.Contains(r.Queue[0], `-113, "Undefined header"`) {
		t.Errorf("got %+v, %v", r, err)
	}
}

func TestCheckAdvice(t *testing.T) {
	t.Parallel()
	for said, want := range map[string]string{
		"":                                 "nothing was received",
		"\xf8\x80\x00\xf8\x1f\n\xff\x00\n": "another rate than 115200 baud",
		"T=20.5\nT=20.6\n":                 "no line has the form of profile plain-lines",
	} {
		simulated(t, func(t *testing.T, pair *devices.Pair) {
			go func() { _, _ = io.WriteString(pair.Device, said) }()
			r := check(t, "plain-lines", pair)
			if r.OK() || len(r.Advice) != 1 || !strings.Contains(r.Advice[0], want) {
				t.Errorf("%q: %v, want %q", said, r.Advice, want)
			}
			if said != "" && len(r.Bad) != 2 {
				t.Errorf("%q: bad lines %+v", said, r.Bad)
			}
		})
	}
}

func TestCheckUnplugged(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		sim := devices.NewPlainBoard(pair, []string{"1"}, place, 10*time.Millisecond)
		play(t, sim)
		go func() { time.Sleep(moment / 2); _ = sim.Unplug() }()
		r := check(t, "plain-lines", pair)
		if r.OK() || len(r.Errors) != 1 || !strings.Contains(r.Errors[0], "the port is gone") {
			t.Errorf("got %+v", r)
		}
	})
}

func TestCheckAbsent(t *testing.T) {
	_, err := checkPath(t, load(t, "plain-lines"), t.TempDir()+"/absent", instrument.Options{})
	if !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
}
