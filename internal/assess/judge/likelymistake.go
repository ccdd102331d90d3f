package judge

import (
	"math"
	"strconv"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

const (
	// mistakeSigmas is how many standard deviations a corrected reading may lie from the value
	// predicted by the others.
	mistakeSigmas = 4.0
	// maxRemaining is the largest part of its residual that a corrected reading may keep. Where the
	// prediction is uncertain, many values agree with it by chance.
	maxRemaining = 0.1
)

// agrees reports whether a value agrees with the prediction for a reading.
func agrees(x assessment.Reading, value float64) bool {
	return math.Abs(value-x.Predicted) <= mistakeSigmas*deviationOf(x)
}

// explainsReading reports whether a corrected value explains a wrong reading: it agrees with the
// prediction and is much nearer than the reading.
func explainsReading(x assessment.Reading, value float64) bool {
	return agrees(x, value) && math.Abs(value-x.Predicted) <= maxRemaining*math.Abs(x.Residual)
}

// LikelyMistake names the mistake that explains a reading which contradicts what is predicted for
// it; "" for none. The commonest mistakes are tried first (common practice, no source); of the
// places and steps of some other readings it names the one that fits best. Of a reading it uses the
// value, the prediction, and the ratio of Residual to Standardised as the standard deviation.
func LikelyMistake(x assessment.Reading, others []assessment.Reading) string {
	if !(deviationOf(x) > 0) {
		return ""
	}
	if text := leadOrUnitMistake(x); text != "" {
		return text
	}
	if swapped := swappedDigits(x); swapped != "" {
		return "digits may be swapped: " + swapped + " would fit"
	}
	return otherPlace(x, others)
}

func (j *judgement) likelyMistake(x assessment.Reading) string {
	return LikelyMistake(x, j.out.Readings)
}

// noteSuspects notes on each suspect reading the mistake that explains it.
func (j *judgement) noteSuspects() {
	for i := range j.out.Readings {
		if x := &j.out.Readings[i]; x.Suspect && !partOfMistake(*x) && x.Note == "" {
			x.Note = j.likelyMistake(*x)
		}
	}
}

// leadOrUnitMistake names a wrong unit, reversed leads or a wrong decimal point if one of them
// explains a reading; "" otherwise.
func leadOrUnitMistake(x assessment.Reading) string {
	if text := unitMistake(x); text != "" {
		return text
	}
	if agrees(x, 0) { // near zero each of them would agree
		return ""
	}
	if explainsReading(x, -x.Value) {
		return "its leads may have been reversed"
	}
	for _, slip := range []struct {
		factor float64
		text   string
	}{
		{10, "its decimal point may be wrong: ten times the value would fit"},
		{0.1, "its decimal point may be wrong: a tenth of the value would fit"},
		{100, "its decimal point may be wrong: 100 times the value would fit"},
		{0.01, "its decimal point may be wrong: a hundredth of the value would fit"},
	} {
		if explainsReading(x, x.Value*slip.factor) {
			return slip.text
		}
	}
	return ""
}

// unitMistake names a wrong unit if that explains a reading; "" otherwise. The standard deviation is
// that of the range on which the value as written would be shown. The right value is from another
// range: it must agree with the prediction within maxUnitDifference and a few of its own last digits.
func unitMistake(x assessment.Reading) string {
	for _, slip := range []struct {
		factor float64
		text   string
	}{
		{1e3, "its unit may be wrong: 1000 times the value would fit"},
		{1e-3, "its unit may be wrong: a thousandth of the value would fit"},
	} {
		value, tolerance := x.Value*slip.factor, maxUnitDifference*math.Abs(x.Predicted)+mistakeSigmas*x.LastDigit()*slip.factor
		if off := math.Abs(value - x.Predicted); off <= maxRemaining*math.Abs(x.Residual) && (off <= tolerance && tolerance < math.Abs(value) || agrees(x, value) && !agrees(x, 0)) {
			return slip.text
		}
	}
	return ""
}

// maxUnitDifference is how far a reading with the unit corrected may differ from its prediction, as a
// part of that.
const maxUnitDifference = 0.05

// deviationOf is the standard deviation of a reading's difference from the value predicted by the
// others, SI.
func deviationOf(x assessment.Reading) float64 {
	if x.Standardised == 0 || math.IsNaN(x.Predicted) {
		return math.NaN()
	}
	return math.Abs(x.Residual / x.Standardised)
}

// swappedDigits is the text with two neighbouring digits swapped, if that fits; of several the
// one that fits best.
func swappedDigits(x assessment.Reading) string {
	written, err := strconv.ParseFloat(x.Text, 64)
	if err != nil || written == 0 {
		return ""
	}
	unit := x.Value / written
	best, distance := "", math.Inf(1)
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
		if unsigned := strings.TrimLeft(string(text), "-"); unsigned[0] == '0' && digit(unsigned[1]) {
			continue // no meter shows such a number
		}
		value, err := strconv.ParseFloat(string(text), 64)
		if off := math.Abs(value*unit - x.Predicted); err == nil && explainsReading(x, value*unit) && off < distance {
			best, distance = string(text), off
		}
	}
	return best
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

// otherPlace names the other place in the same step, or the same place in another step, that the
// reading fits best.
func otherPlace(x assessment.Reading, others []assessment.Reading) string {
	text, distance := "", math.Min(mistakeSigmas*deviationOf(x), maxRemaining*math.Abs(x.Residual))
	for _, y := range others {
		samePlace := y.From == x.From && y.To == x.To
		if y.Quantity != x.Quantity || x.Quantity == run.Temperature || math.IsNaN(y.Predicted) || samePlace == (y.Step == x.Step) {
			continue
		}
		if agrees(x, y.Predicted) {
			continue // the same value is expected there
		}
		if off := math.Abs(y.Predicted - x.Value); off < distance {
			distance = off
			if samePlace {
				text = "it reads like the same place in step " + strconv.Quote(y.Step)
			} else {
				text = "it reads like " + strings.TrimSuffix(strings.TrimSuffix(y.From, "+"), "-") + " in the same step"
			}
		}
	}
	return text
}
