package judge

import (
	"math"
	"strconv"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

const (
	// alike is how many standard deviations a wrong reading may lie from what it is said to
	// look like.
	alike = 4.0
	// left is the most of its deviation that a wrong reading may keep once its slip is undone.
	// Where the others say little, much lies within their deviations by chance.
	left = 0.1
)

// within tells whether a value lies where the others put a reading.
func within(x assessment.Reading, value float64) bool {
	return math.Abs(value-x.Predicted) <= alike*toleranceOf(x)
}

// undoes tells whether a slip that made a reading of a value explains it: the value lies
// where the others put it, and much nearer than the reading.
func undoes(x assessment.Reading, value float64) bool {
	return within(x, value) && math.Abs(value-x.Predicted) <= left*math.Abs(x.Residual)
}

// resembles says what a reading that contradicts the others looks like, "" where it
// looks like nothing: the commonest slips first (common practice, no source), and of
// places and steps the one that fits best.
func (j *judged) resembles(x assessment.Reading) string {
	if !(toleranceOf(x) > 0) {
		return ""
	}
	if text := slip(x); text != "" {
		return text
	}
	if swapped := swapped(x); swapped != "" {
		return "digits may be swapped: " + swapped + " would fit"
	}
	return j.elsewhere(x)
}

// slip says how a wrong reading may have come about that shows what was there: by its
// leads, its unit or its point. "" is by none of them.
func slip(x assessment.Reading) string {
	if within(x, 0) { // next to nothing looks like any of them
		return ""
	}
	if undoes(x, -x.Value) {
		return "its leads may have been reversed"
	}
	for _, slip := range []struct {
		factor float64
		text   string
	}{
		{1e3, "its unit may be one with a greater prefix"},
		{1e-3, "its unit may be one with a smaller prefix"},
		{10, "its decimal point may have slipped to the left"},
		{0.1, "its decimal point may have slipped to the right"},
		{100, "its decimal point may have slipped to the left, twice"},
		{0.01, "its decimal point may have slipped to the right, twice"},
	} {
		if undoes(x, x.Value*slip.factor) {
			return slip.text
		}
	}
	return ""
}

// toleranceOf is the standard deviation of a reading's difference from what the others
// say, SI.
func toleranceOf(x assessment.Reading) float64 {
	if x.Standardised == 0 || math.IsNaN(x.Predicted) {
		return math.NaN()
	}
	return math.Abs(x.Residual / x.Standardised)
}

// swapped is the text with two neighbouring digits swapped, if that would fit; of
// several the one that fits best.
func swapped(x assessment.Reading) string {
	written, err := strconv.ParseFloat(x.Text, 64)
	if err != nil || written == 0 {
		return ""
	}
	unit := x.Value / written
	best, far := "", math.Inf(1)
	for i := range len(x.Text) {
		k := i + 1
		if k < len(x.Text) && x.Text[k] == '.' {
			k++
		}
		if k >= len(x.Text) || !digit(x.Text[i]) || !digit(x.Text[k]) || x.Text[i] == x.Text[k] {
			continue
		}
		text := []byte(x.Text)
		text[i], text[k] = text[k], text[i]
		value, err := strconv.ParseFloat(string(text), 64)
		if off := math.Abs(value*unit - x.Predicted); err == nil && undoes(x, value*unit) && off < far {
			best, far = string(text), off
		}
	}
	return best
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

// elsewhere names the other place in the same step, or the same place in another step,
// that the reading fits best.
func (j *judged) elsewhere(x assessment.Reading) string {
	text, far := "", math.Min(alike*toleranceOf(x), left*math.Abs(x.Residual))
	for _, y := range j.out.Readings {
		samePlace := y.From == x.From && y.To == x.To
		if y.Quantity != x.Quantity || x.Quantity == run.Temperature || math.IsNaN(y.Predicted) || samePlace == (y.Step == x.Step) {
			continue
		}
		if within(x, y.Predicted) {
			continue // the same is expected there
		}
		if off := math.Abs(y.Predicted - x.Value); off < far {
			far = off
			if samePlace {
				text = "it reads like the same place in step " + strconv.Quote(y.Step)
			} else {
				text = "it reads like " + strings.TrimSuffix(strings.TrimSuffix(y.From, "+"), "-") + " in the same step"
			}
		}
	}
	return text
}
