package light

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
)

// strip has channels of round figures: red starts at 0.32 of the rated volts and is
// full at 0.5, green and blue at 0.5 and 0.72; a resistor behind each gives the
// current at rated volts.
func strip(d run.Driver, volts float64, names ...string) run.Strip {
	all := map[string]colour.XYZ{"red": colour.Peak(625, 18).Light(400), "green": colour.Peak(523, 32).Light(850),
		"blue": colour.Peak(468, 24).Light(100), "white": colour.White(4000, 0).Light(1000)}
	s := run.Strip{Volts: volts, Driver: d, Idle: 0.0008}
	for _, name := range names {
		c := run.Channel{Name: name, Amps: 0.012, Light: all[name], Forward: 0.5 * volts, Knee: 0.72 * volts}
		if name == "red" {
			c.Forward, c.Knee = 0.32*volts, 0.5*volts
		}
		c.Ohms = (volts - c.Forward) / c.Amps
		s.Channels = append(s.Channels, c)
	}
	return s
}

func levels(level float64, names ...string) map[string]float64 {
	m := map[string]float64{}
	for _, name := range names {
		m[name] = level
	}
	return m
}

var rgb = []string{"red", "green", "blue"}

// At falling voltage white turns warm and dim, because blue and green fall first. At the end
// only red is left, with the chromaticity of the red primary.
func TestRedFallsLast(t *testing.T) {
	for _, volts := range []float64{5, 12, 24} {
		l := New(strip(run.Linear, volts, rgb...), levels(0.3, rgb...), pixel.AsStated)
		last := Output{Part: 2}
		for part := 1.1; part > 0.34; part -= 0.01 {
			s := l.Output(part * volts)
			if part >= 0.72 && (s.Shift != 0 || s.Part != 1) {
				t.Errorf("%g V strip at %.2f of it: %+v above every knee", volts, part, s)
			}
			if s.Shift < last.Shift-1e-12 || s.Part > last.Part+1e-12 {
				t.Errorf("%g V strip at %.2f of it: %+v after %+v", volts, part, s, last)
			}
			last = s
		}
		red := colour.Peak(625, 18).UV()
		if got := l.At(0.45 * volts).UV().Distance(red); got > 1e-9 {
			t.Errorf("%g V strip: what is left is %g from red", volts, got)
		}
	}
}

// Tristimulus values add: the light is Σ level × primary, by hand.
func TestLightIsTheSumOfChannels(t *testing.T) {
	s := strip(run.Linear, 5, "red", "green", "blue", "white")
	l := New(s, map[string]float64{"red": 1, "blue": 0.5, "white": 0.25}, pixel.AsStated)
	want := s.Channels[0].Light.Plus(s.Channels[2].Light.Times(0.5)).Plus(s.Channels[3].Light.Times(0.25))
	got := l.Full()
	if math.Abs(got.X-want.X)+math.Abs(got.Y-want.Y)+math.Abs(got.Z-want.Z) > 1e-9 {
		t.Errorf("%v, want %v", got, want)
	}
	if math.Abs(got.Y-(400+50+250)) > 1e-9 {
		t.Errorf("luminance %g, want 700", got.Y)
	}
}

// A single channel has one colour: a white-only strip dims and does not shift.
func TestWhiteOnlyStripHoldsItsColour(t *testing.T) {
	for _, d := range []run.Driver{run.Linear, run.Resistor, run.Regulated} {
		l := New(strip(d, 24, "white"), levels(1, "white"), pixel.AsStated)
		dimmed := false
		for v := 24.0; v > 5; v -= 0.1 {
			s := l.Output(v)
			if s.Shift > 1e-12 {
				t.Errorf("%v at %g V: shift %g", d, v, s.Shift)
			}
			dimmed = dimmed || s.Dimming() > 0.5
		}
		if !dimmed {
			t.Errorf("%v never dims", d)
		}
	}
}

// Resistors lose light with every volt, red less than blue; by hand at 10 V of 12:
// red (10−3.84)/8.16 of its light, the others (10−6)/6.
func TestResistorDriverDimsAtOnce(t *testing.T) {
	s := strip(run.Resistor, 12, rgb...)
	l := New(s, levels(1, rgb...), pixel.AsStated)
	want := (400*6.16/8.16 + 950*4.0/6) / 1350
	got := l.Output(10)
	if math.Abs(got.Part-want) > 1e-12 || got.Shift <= 0 {
		t.Errorf("%+v, want part %g", got, want)
	}
	if over := l.Output(12.6); over.Part <= 1 || over.Dimming() != 0 || over.Shift <= 0 {
		t.Errorf("above rated volts %+v", over)
	}
}

// A regulated driver holds its light down to its minimum voltage while its current changes.
func TestRegulatedDriverHoldsItsLight(t *testing.T) {
	s := strip(run.Regulated, 12, rgb...)
	load := pixel.New(s, levels(1, rgb...), pixel.AsStated)
	l := New(s, levels(1, rgb...), pixel.AsStated)
	for v := 8.7; v < 13; v += 0.1 {
		if got := l.Output(v); got.Shift != 0 || got.Part != 1 {
			t.Errorf("at %g V %+v", v, got)
		}
	}
	low, _ := load.Current(9)
	high, _ := load.Current(12)
	if low <= high {
		t.Errorf("%g A at 9 V, %g A at 12 V", low, high)
	}
	if got := l.Output(8); got.Part >= 1 {
		t.Errorf("below the minimum voltage %+v", got)
	}
}

// The shift that estimates add to the knees moves the whole curve; the scale moves
// neither the colour nor the relative luminance.
func TestAdjustedPixels(t *testing.T) {
	s := strip(run.Linear, 5, rgb...)
	plain := New(s, levels(0.5, rgb...), pixel.AsStated)
	moved := New(s, levels(0.5, rgb...), pixel.Adjust{Scale: 1, Idle: 1, Shift: 0.2})
	scaled := New(s, levels(0.5, rgb...), pixel.Adjust{Scale: 1.3, Idle: 2})
	// Knees above the rated volts: full voltage is itself starved, and more gives more.
	high := New(s, levels(0.5, rgb...), pixel.Adjust{Scale: 1, Idle: 1, Shift: 1.6})
	if at := high.Output(5); math.Abs(at.Part-1) > 1e-12 || at.Shift > 1e-12 {
		t.Errorf("at rated volts %+v", at)
	}
	if over := high.Output(5.4); over.Part < 1.01 || high.At(5.4).Y <= high.Full().Y {
		t.Errorf("above them %+v", over)
	}
	// So there is no voltage from which on the colour is that at full voltage.
	if over := high.Output(5.4); over.Shift <= 0 || high.Flat() <= 5.4 {
		t.Errorf("above them %+v, said to be flat from %g V on", over, high.Flat())
	}
	rng := rand.New(rand.NewPCG(6, 4))
	for range 200 {
		v := 1.7 + 3*rng.Float64()
		a, b, c := plain.Output(v), moved.Output(v+0.2), scaled.Output(v)
		if math.Abs(a.Shift-b.Shift)+math.Abs(a.Part-b.Part) > 1e-9 {
			t.Fatalf("at %g V %+v, moved %+v", v, a, b)
		}
		if math.Abs(a.Shift-c.Shift)+math.Abs(a.Part-c.Part) > 1e-9 {
			t.Fatalf("at %g V %+v, scaled %+v", v, a, c)
		}
	}
}

// A dark step has no shift and no dimming. A voltage without light has the colour of the lowest
// voltage that gives light.
func TestDarkness(t *testing.T) {
	s := strip(run.Linear, 5, rgb...)
	dark := New(s, nil, pixel.AsStated)
	if got := dark.Output(5); !dark.Dark() || got.Shift != 0 || got.Part != 1 {
		t.Errorf("a dark step is %+v", got)
	}
	l := New(s, levels(1, rgb...), pixel.AsStated)
	for _, v := range []float64{-1, 0, 1.5} {
		got, before := l.Output(v), l.Output(1.62)
		if got.Part != 0 || got.Dimming() != 1 || math.Abs(got.Shift-before.Shift) > 1e-6 {
			t.Errorf("at %g V %+v, before that %+v", v, got, before)
		}
	}
	// Regulated channels go dark one after the other as well.
	reg := strip(run.Regulated, 5, rgb...)
	for i := range reg.Channels {
		reg.Channels[i].Forward, reg.Channels[i].Knee = 0, 3.6
	}
	reg.Channels[0].Knee = 3.4
	r := New(reg, levels(1, rgb...), pixel.AsStated)
	red := colour.Peak(625, 18).UV()
	if got := r.Output(1.0); math.Abs(got.Shift-r.Full().UV().Distance(red)) > 1e-9 {
		t.Errorf("regulated and dark: %+v", got)
	}
	var zero Emitter
	if !zero.Dark() {
		t.Error("the zero Emitter is not dark")
	}
}

func BenchmarkSee(b *testing.B) {
	l := New(strip(run.Linear, 5, rgb...), levels(1, rgb...), pixel.AsStated)
	for b.Loop() {
		l.Output(3.1)
	}
}
