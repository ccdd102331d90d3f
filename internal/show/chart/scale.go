package chart

import (
	"math"
	"strconv"
)

// span is a finite range of values, min < max.
type span struct{ min, max float64 }

// maxDrawable is the size, in the axis's unit, from which a number is not drawn; volts and ohms of a
// run are smaller.
const maxDrawable = 1e9

func drawable(v float64) bool { return math.Abs(v) < maxDrawable } // false for NaN

// part returns the position of a value in the span, limited to 0 to 1.
func (s span) part(v float64) float64 {
	return min(1, max(0, (v-s.min)/(s.max-s.min)))
}

func (s span) holds(v float64) bool { return v >= s.min && v <= s.max }

// extent is the range of values; values that cannot be drawn are ignored.
type extent struct {
	span
	any bool
}

func (e *extent) add(values ...float64) {
	for _, v := range values {
		switch {
		case !drawable(v):
		case !e.any:
			e.span, e.any = span{v, v}, true
		default:
			e.min, e.max = min(e.min, v), max(e.max, v)
		}
	}
}

// padded returns the span with a margin (a fraction of itself) on both sides and
// at least so wide, or fallback where there were no values.
func (e extent) padded(margin, least float64, fallback span) span {
	if !e.any {
		return fallback
	}
	half := max((e.max-e.min)*(0.5+margin), least/2)
	middle := (e.max + e.min) / 2
	return span{middle - half, middle + half}
}

// tick is a labelled value of an axis.
type tick struct {
	value float64
	label string
}

// ticks returns about n round values within a span: steps of 1, 2 or 5 times a
// power of ten.
func (s span) ticks(n int) []tick {
	raw := (s.max - s.min) / float64(max(n, 1))
	if !(raw > 0) || math.IsInf(raw, 0) {
		return nil
	}
	exponent := math.Floor(math.Log10(raw))
	step := math.Pow(10, exponent)
	for _, m := range []float64{1, 2, 5, 10} {
		if m*step >= raw*0.999 {
			step *= m
			break
		}
	}
	decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	var out []tick
	first := math.Ceil(s.min/step - 1e-9)
	for i := 0.0; i <= float64(4*n+4); i++ {
		v := (first + i) * step
		if v > s.max+step*1e-9 {
			break
		}
		if v == 0 {
			v = 0 // no minus sign before a nought
		}
		out = append(out, tick{v, strconv.FormatFloat(v, 'f', decimals, 64)})
	}
	return out
}

// logTicks returns the values 1, 2 and 5 of every decade of a span of decimal
// logarithms; in long spans only the 1s.
func (s span) logTicks() []tick {
	steps := []float64{1, 2, 5}
	if s.max-s.min > 4 {
		steps = steps[:1]
	}
	var out []tick
	for e := math.Floor(s.min); e <= s.max && len(out) < 60; e++ {
		for _, m := range steps {
			if v := e + math.Log10(m); v >= s.min-1e-9 && v <= s.max+1e-9 {
				out = append(out, tick{v, strconv.FormatFloat(m*math.Pow(10, e), 'g', 6, 64)})
			}
		}
	}
	return out
}
