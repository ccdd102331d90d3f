package instrument_test

import (
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

const settling = 60 * time.Millisecond

// byTurns is the shipped profile of several quantities with a short time to settle.
func byTurns(t *testing.T, turn int) *profile.Profile {
	p := load(t, "scpi-ranges")
	p.Query.Every, p.Query.Turn = 5*time.Millisecond, turn
	for _, ranges := range p.Query.Functions {
		for i := range ranges {
			ranges[i].Settle = settling
		}
	}
	return p
}

// ranged opens a simulated meter that takes time to settle. volts may be changed while it runs.
func ranged(t *testing.T, pair *devices.Pair, p *profile.Profile, volts func() float64, o instrument.Options) (instrument.Instrument, *devices.Multimeter) {
	t.Helper()
	sim, err := devices.NewMultimeter(pair, func(q run.Quantity) float64 { return []float64{volts(), 0.4, 20}[q] })
	if err != nil {
		t.Fatal(err)
	}
	sim.Settling = settling - 10*time.Millisecond
	play(t, sim)
	o.Conn = pair.Host
	device, err := instrument.Open(bounded(t), p, pair.Path, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = device.Close() })
	return device, sim
}

func five() float64 { return 5 }

// The simulated meter shows half of the value until it has settled. None of these samples is good.
func TestTurnsMarkUnsettled(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		p := byTurns(t, 2)
		device, _ := ranged(t, pair, p, five, instrument.Options{Channels: []instrument.Channel{
			{ID: "v", Quantity: run.Voltage}, {ID: "i", Quantity: run.Current}, {ID: "t", Quantity: run.Temperature}}})
		var turns []string
		unsettled := 0
		for len(turns) < 14 {
			s := next(t, device)
			switch {
			case s.Good():
				if want := map[string]float64{"v": 5, "i": 0.4, "t": 20}[s.Channel]; s.Value != want {
					t.Fatalf("%s: %v is good, want %v", s.Channel, s.Value, want)
				}
				turns = append(turns, s.Channel)
			case s.Quality == reading.Unsettled && s.Value == 0 && s.Text == "" && s.Raw != "":
				unsettled++
			default:
				t.Fatalf("got %+v", s)
			}
		}
		// Two of each quantity by turns. The voltage's first turn takes one in the wide range, its
		// second, once settled, one in the range that fits 5 V.
		if got := strings.Join(turns, ""); got != "vviittvviittvv" {
			t.Errorf("turns %s", got)
		}
		if unsettled < 10 {
			t.Errorf("%d unsettled", unsettled)
		}
	})
}

func TestMeasureWaitsUntilSettled(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		device, _ := ranged(t, pair, byTurns(t, 1), five, instrument.Options{})
		for _, q := range []run.Quantity{run.Voltage, run.Current, run.Voltage, run.Temperature} {
			s, err := device.Measure(bounded(t), "", q)
			if want := []float64{5, 0.4, 20}[q]; err != nil || !s.Good() || s.Value != want {
				t.Errorf("%v: %+v, %v, want %v", q, s, err, want)
			}
		}
	})
}

// The smallest range that holds the value is used. An overload in it selects a wider range; only an
// overload of the widest is reported.
func TestRanges(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		var mu sync.Mutex
		volts := 5.0
		set := func(x float64) { mu.Lock(); volts = x; mu.Unlock() }
		var mute sync.Mutex
		var sent []string
		device, _ := ranged(t, pair, byTurns(t, 1), func() float64 { mu.Lock(); defer mu.Unlock(); return volts }, instrument.Options{Log: func(e instrument.Event) {
			if e.Kind == instrument.Sent && strings.HasPrefix(e.Text, "CONF:") {
				mute.Lock()
				sent = append(sent, strings.TrimPrefix(e.Text, "CONF:VOLT:DC "))
				mute.Unlock()
			}
		}})
		for _, c := range []struct {
			volts float64
			want  string // digits of the answer: the range shows in them
			conf  string
		}{
			{4.81234, "+4.81200000E+00", "100"}, // it is not known what is connected: the widest
			{4.81234, "+4.81230000E+00", "10"},  // now one that fits, with a digit more
			{9.5, "+9.50000000E+00", ""},
			{20, "+2.00000000E+01", "100"}, // overload in 10 V
			{9.5, "+9.50000000E+00", ""},   // too near the end of 10 V to go back
			{8.9, "+8.90000000E+00", ""},   // read in the wide range; then back
			{8.9, "+8.90000000E+00", "10"},
			{500, "overload", "100"},
		} {
			sent = nil
			set(c.volts)
			s, err := device.Measure(bounded(t), "", run.Voltage)
			got := s.Text
			if !s.Good() {
				got = s.Quality.String()
			}
			if err != nil || got != c.want || strings.Join(sent, " ") != c.conf {
				t.Errorf("%g V: %s by %q, %v; want %s by %q", c.volts, got, sent, err, c.want, c.conf)
			}
		}
	})
}

// After the meter was set to another function at its panel, nothing that it shows is taken for a
// voltage.
func TestKnobIsTurned(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		changed := 0
		device, sim := ranged(t, pair, byTurns(t, 1), five, instrument.Options{Log: func(e instrument.Event) {
			if e.Kind == instrument.Changed {
				changed++
			}
		}})
		for i := range 4 {
			s, err := device.Measure(bounded(t), "", run.Voltage)
			if err != nil || s.Value != 5 {
				t.Fatalf("%+v, %v", s, err)
			}
			if i == 1 {
				sim.Turn(run.Temperature, 0)
			}
		}
		if changed != 1 {
			t.Errorf("%d changes were noticed", changed)
		}
	})
}

// A clock that is set back does not make an unsettled reading good.
func TestClockSetBackWhileSettling(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		var mu sync.Mutex
		back := time.Duration(0)
		clock := func() time.Time { mu.Lock(); defer mu.Unlock(); return time.Now().Round(0).Add(back) }
		device, _ := ranged(t, pair, byTurns(t, 1), five, instrument.Options{Clock: clock, Channels: []instrument.Channel{{ID: "v", Quantity: run.Voltage}}})
		if s := next(t, device); s.Quality != reading.Unsettled {
			t.Fatalf("the first: %+v", s)
		}
		mu.Lock()
		back = -365 * 24 * time.Hour
		mu.Unlock()
		for range 200 {
			if s := next(t, device); s.Good() {
				if s.Value != 5 {
					t.Errorf("good at %v", s.Value)
				}
				return
			}
		}
		t.Error("it never settles")
	})
}

func TestChannelsThatCannotBeAsked(t *testing.T) {
	pair := devices.InProcess()
	defer pair.Device.Close()
	_, err := instrument.Open(t.Context(), load(t, "scpi-multimeter"), "", instrument.Options{Conn: pair.Host,
		Channels: []instrument.Channel{{ID: "t", Quantity: run.Temperature}}})
	if err == nil || !strings.Contains(err.Error(), "does not say how to measure a temperature") {
		t.Errorf("got %v", err)
	}
}
