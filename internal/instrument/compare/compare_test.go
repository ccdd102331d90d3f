package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// norris are the readings of NIST's statistical reference data set "Norris", the calibration of one instrument by
// another: shown, then reference.
var norris = [][2]float64{{0.1, 0.2}, {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1}, {228.1, 226.5}, {668.5, 666.3},
	{998.5, 996.3}, {449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4}, {0.1, 0.6}, {778.1, 775.5}, {668.8, 666.9},
	{339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6}, {557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2},
	{0.3, 0.3}, {0.6, 0.3}, {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0}, {10.2, 11.1},
	{117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}}

func meter(name string, upTo, resolution, percent, counts float64) run.Meter {
	return run.Meter{Name: name, Ranges: []run.Range{{Quantity: run.Current, UpTo: upTo, Resolution: resolution, Fraction: percent / 100, Counts: counts}}}
}

func pair(reference, compared float64, decimals int) Pair {
	show := func(x float64) reading.Reading {
		text := fmt.Sprintf("%.*f", decimals, x)
		value, _ := reading.Value(run.Current, text, "A")
		return reading.Reading{Quantity: run.Current, Text: text, Unit: "A", Value: value}
	}
	return Pair{show(reference), show(compared)}
}

// Gain, offset, scatter and their intervals are those that NIST certifies for Norris: 1.00211681802045 with the standard
// deviation 0.429796848199937E-03, −0.262323073774029 with 0.232818234301152, and 0.884796396144373. Student's factor
// for 34 degrees of freedom is 2.0322 (tables).
func TestNorris(t *testing.T) {
	var pairs []Pair
	for _, x := range norris {
		pairs = append(pairs, pair(x[1], x[0], 1))
	}
	list := Meters(meter("reference", 2000, 0.1, 0, 0), meter("compared", 2000, 0.1, 1, 1), pairs)
	if len(list) != 1 || !list[0].Line || list[0].Pairs != 36 {
		t.Fatalf("%+v", list)
	}
	r := list[0]
	for what, x := range map[string][2]float64{
		"gain": {r.Gain.Value, 1.00211681802045}, "its deviation": {(r.Gain.High - r.Gain.Low) / 2 / 2.0322, 0.429796848199937e-3},
		"offset": {r.Offset.Value, -0.262323073774029}, "its deviation too": {(r.Offset.High - r.Offset.Low) / 2 / 2.0322, 0.232818234301152},
		"scatter": {r.Scatter, 0.884796396144373},
	} {
		if math.Abs(x[0]-x[1]) > 3e-5*math.Abs(x[1]) {
			t.Errorf("%s: %v, certified %v", what, x[0], x[1])
		}
	}
}

// Of simulated comparisons, the intervals hold the true gain and offset as often as they say, and the corrected meter is
// within the accuracy that remains nearly always.
func TestIntervalsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	bench, clamp := meter("bench", 20, 0.001, 0.2, 5), meter("clamp", 40, 0.01, 3, 5)
	gains, offsets, within, runs := 0, 0, 0, 400
	between := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }
	for range runs {
		benchGain, benchOffset := between(0.002), between(0.005)
		gain, offset := 1+between(0.05), between(0.08)
		var pairs []Pair
		for i := range 9 {
			amps := float64(i/3)*3 + 0.5
			pairs = append(pairs, Pair{pair(amps*(1+benchGain)+benchOffset, 0, 3).Reference, pair(0, gain*amps+offset+0.004*rng.NormFloat64(), 2).Compared})
		}
		r := Meters(bench, clamp, pairs)[0]
		// Against the reference, whose own error is part of the truth here.
		g, o := gain/(1+benchGain), offset-gain/(1+benchGain)*benchOffset
		if r.Gain.Low <= g && g <= r.Gain.High {
			gains++
		}
		if r.Offset.Low <= o && o <= r.Offset.High {
			offsets++
		}
		c, ok := r.Corrected, true
		for _, amps := range []float64{0.5, 3, 6.5} {
			ok = ok && math.Abs(c.Correct(gain*amps+offset)-amps) <= c.Fraction*amps+c.Counts*c.Resolution
		}
		if ok {
			within++
		}
	}
	if float64(gains) < 0.92*float64(runs) || float64(offsets) < 0.92*float64(runs) || float64(within) < 0.97*float64(runs) {
		t.Errorf("of %d: gain in %d intervals, offset in %d, corrected within what remains in %d", runs, gains, offsets, within)
	}
}

func TestWhatCannotBeKnown(t *testing.T) {
	bench, clamp := meter("bench", 20, 0.001, 0.2, 5), meter("clamp", 40, 0.01, 3, 5)
	one := Meters(bench, clamp, []Pair{pair(1, 1.02, 2), pair(1, 1.02, 2), pair(1.05, 1.07, 2)})
	if len(one) != 1 || one[0].Line || one[0].Excess != 0 || one[0].Pairs != 3 {
		t.Errorf("one level: %+v", one)
	}
	far := Meters(bench, clamp, []Pair{pair(1, 1.2, 2), pair(4, 4.3, 2)})
	if far[0].Line || math.Abs(far[0].Excess-(0.3-0.008-0.005-0.129-0.05)) > 1e-9 {
		t.Errorf("two pairs: %+v", far)
	}
	if list := Meters(bench, clamp, []Pair{pair(30, 30, 2)}); len(list) != 0 {
		t.Errorf("beyond the reference's range: %+v", list)
	}
	// A reference that is no better than the compared meter corrects nothing.
	same := Meters(clamp, clamp, []Pair{pair(1, 1.01, 2), pair(2, 2.01, 2), pair(3, 3.02, 2), pair(4, 4.02, 2)})
	if !same[0].Line || same[0].Better {
		t.Errorf("no better: %+v", same)
	}
	// Each range has a line of its own.
	two := clamp
	two.Ranges = append([]run.Range{{Quantity: run.Current, UpTo: 4, Resolution: 0.001, Fraction: 0.03, Counts: 5}}, two.Ranges...)
	if list := Meters(bench, two, []Pair{pair(1, 1, 3), pair(2, 2, 3), pair(3, 3, 3), pair(5, 5.5, 2)}); len(list) != 2 || !list[0].Line || list[1].Line {
		t.Errorf("two ranges: %+v", list)
	}
}
