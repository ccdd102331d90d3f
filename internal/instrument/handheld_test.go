package instrument_test

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

// showing opens a simulated meter that shows the given displays in volts in turn, and then the last
// one. The first is sent before anything is measured.
func showing(t *testing.T, pair *devices.Pair, shown ...string) instrument.Instrument {
	t.Helper()
	n := 0
	play(t, devices.NewHandheld(pair, func() []byte {
		text := shown[min(n, len(shown)-1)]
		n++
		return devices.SegmentPicture(text, "V", "DC")
	}, 60*time.Millisecond))
	return open(t, load(t, "fs9721"), pair)
}

// A reading is taken when two successive pictures agree. A display that still changes, or a picture
// with a flipped bit, gives none.
func TestHandheldMeasure(t *testing.T) {
	for _, c := range []struct {
		name  string
		shown []string
		want  string
	}{
		{"steady", []string{"9.999", "4.812"}, "4.812"},
		{"settling", []string{"9.999", "1.204", "3.950", "4.700", "4.812", "4.813"}, "4.813"},
		{"one flipped bit", []string{"9.999", "4.012", "4.812", "4.812"}, "4.812"},
	} {
		t.Run(c.name, func(t *testing.T) {
			simulated(t, func(t *testing.T, pair *devices.Pair) {
				s, err := showing(t, pair, c.shown...).Measure(bounded(t), "display", run.Voltage)
				if err != nil || !s.Good() || s.Text != c.want {
					t.Errorf("got %+v, %v", s, err)
				}
			})
		})
	}
	var moving []string
	for n := range 60 {
		moving = append(moving, fmt.Sprintf("%d.%d00", 1+n%3, n%10))
	}
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		s, err := showing(t, pair, moving...).Measure(bounded(t), "display", run.Voltage)
		if err != nil || s.Quality != reading.Unsettled || s.Text != "" {
			t.Errorf("a display that does not settle: %+v, %v", s, err)
		}
	})
}

// A value that is sent once only is not lost.
func TestHandheldSentOnce(t *testing.T) {
	simulated(t, func(t *testing.T, pair *devices.Pair) {
		device := open(t, load(t, "es51922"), pair)
		begun := time.Now()
		go func() {
			time.Sleep(100 * time.Millisecond)
			_, _ = pair.Device.Write(devices.CharacterPicture("1.8120", "V", "DC"))
		}()
		s, err := device.Measure(bounded(t), "display", run.Voltage)
		if took := time.Since(begun); err != nil || s.Text != "1.8120" || took != 1100*time.Millisecond { // and a second for a next one
			t.Errorf("got %+v, %v after %v", s, err, took)
		}
	})
}

// The channels say which quantity the display has to show; a meter with two channels may show either.
func TestHandheldFunction(t *testing.T) {
	t.Parallel()
	p := load(t, "fs9721")
	volts := []instrument.Channel{{ID: "display", Quantity: run.Voltage}}
	both := append(volts, instrument.Channel{ID: "display", Quantity: run.Current})
	for _, c := range []struct {
		channels []instrument.Channel
		symbols  string
		want     string
	}{
		{nil, "V DC", "display voltage 4.812 V"},
		{nil, "A DC", "display current 4.812 A"},
		{nil, "k ohm", ""},
		{volts, "V DC", "display voltage 4.812 V"},
		{volts, "A DC", "display voltage faulty"},
		{volts, "k ohm", "display voltage faulty"},
		{both, "A DC", "display current 4.812 A"},
		{both, "k ohm", "display voltage faulty, display current faulty"},
		{both, "V AC", "display voltage faulty"},
	} {
		pair := devices.InProcess()
		var heard []instrument.Event
		device, err := instrument.Open(t.Context(), p, "", instrument.Options{Conn: pair.Host, Channels: c.channels,
			Log: func(e instrument.Event) { heard = append(heard, e) }})
		if err != nil {
			t.Fatal(err)
		}
		go func() {
			_, _ = pair.Device.Write(devices.SegmentPicture("4.812", strings.Fields(c.symbols)...))
			_ = pair.Device.Close()
		}()
		for err == nil {
			_, err = device.Next(bounded(t))
		}
		if len(heard) != 1 || meaning(heard[0].Samples) != c.want || c.want == "" && heard[0].Reason != "the display shows 4.812 kohm" {
			t.Errorf("%v %s: heard %+v", c.channels, c.symbols, heard)
		}
		if counters := device.Counters(); counters.Lines != 1 || counters.Bad != 0 || device.Identity() != "" {
			t.Errorf("%+v, %q", counters, device.Identity())
		}
		_ = device.Close()
	}
}

// A picture that was being sent when the port was opened is skipped, and does not count as bad.
func TestHandheldBegun(t *testing.T) {
	t.Parallel()
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	picture := string(devices.SegmentPicture("4.812", "V", "DC"))
	stop := make(chan struct{})
	go func() {
		defer close(stop)
		for range 3 {
			time.Sleep(20 * time.Millisecond)
			_, _ = io.WriteString(pair.Device, picture[9:]+picture)
		}
	}()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	device, err := instrument.Open(ctx, load(t, "fs9721"), pair.Path, instrument.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	s, err := device.Next(ctx)
	<-stop
	if err != nil || s.Text != "4.812" || device.Counters().Skipped > 1 {
		t.Errorf("got %+v, %v, %+v", s, err, device.Counters())
	}
}

// Halves of two pictures, a pause apart, give no value: 1.010 V and 7.020 V would make 1.020 V.
func TestHandheldHalves(t *testing.T) {
	t.Parallel()
	for chip, c := range map[string]struct {
		first, second []byte
		want          []string
	}{
		"fs9721":  {devices.SegmentPicture("1.010", "V", "DC"), devices.SegmentPicture("7.020", "V", "DC"), []string{"1.010", "7.020"}},
		"es51922": {devices.CharacterPicture("1.0100", "V", "DC"), devices.CharacterPicture("0.7020", "V", "DC"), []string{"1.0100", "0.7020"}},
	} {
		halves := func(t *testing.T, pair *devices.Pair, pause func(ctx context.Context, heard <-chan instrument.Event)) {
			ctx, heard := bounded(t), make(chan instrument.Event, 10)
			device, err := instrument.Open(ctx, load(t, chip), pair.Path, instrument.Options{Conn: pair.Host, Log: func(e instrument.Event) { heard <- e }})
			if err != nil {
				t.Fatal(err)
			}
			defer device.Close()
			var sending sync.WaitGroup
			sending.Go(func() {
				for _, part := range [][]byte{c.first, c.first[:5], c.second[5:], c.second} {
					_, _ = pair.Device.Write(part)
					pause(ctx, heard)
				}
			})
			defer sending.Wait()
			var got []string
			for range 2 {
				s, err := device.Next(ctx)
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, s.Text)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("got %v, want %v", got, c.want)
			}
			if counters := device.Counters(); counters.Bad != 2 {
				t.Errorf("%+v, want both halves to count as bad", counters)
			}
		}
		t.Run(chip+" pipe", func(t *testing.T) {
			simulated(t, func(t *testing.T, pair *devices.Pair) {
				halves(t, pair, func(context.Context, <-chan instrument.Event) { time.Sleep(300 * time.Millisecond) })
			})
		})
		t.Run(chip+" terminal", func(t *testing.T) {
			t.Parallel()
			halves(t, terminal(t), func(ctx context.Context, heard <-chan instrument.Event) { // until the port has found the pause
				select {
				case <-heard:
				case <-ctx.Done():
				}
			})
		})
	}
}
