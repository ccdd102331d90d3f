package calibrationtest

import (
	"math"
	"math/rand/v2"
	"strconv"

	"ohmkeep/internal/run"
)

// Meter is one real instrument: each of its ranges has a gain and an offset error
// within the stated accuracy, and its last digit has noise.
type Meter struct {
	stated run.Meter
	rng    *rand.Rand
	errors map[key][2]float64
}

type key struct {
	at    int
	place string
}

// digitNoise is the standard deviation of a display's last digit, in counts (common
// practice, no source).
const digitNoise = 0.3

// NewMeter draws an instrument of the stated accuracy.
func NewMeter(stated run.Meter, rng *rand.Rand) *Meter {
	return &Meter{stated: stated, rng: rng, errors: map[key][2]float64{}}
}

// Distort returns a true value at a place with the range's gain and offset error, and
// the range; false where no range holds it.
func (m *Meter) Distort(q run.Quantity, place string, value float64) (off float64, limits run.Range, ok bool) {
	at := m.stated.Range(q, value)
	if at < 0 {
		return 0, run.Range{}, false
	}
	limits = m.stated.Ranges[at]
	k := key{at: at}
	if m.stated.Each {
		k.place = place
	}
	e, known := m.errors[k]
	if !known {
		e = [2]float64{limits.KnownGain + limits.Fraction*(2*m.rng.Float64()-1), limits.KnownOffset + limits.Counts*limits.Resolution*(2*m.rng.Float64()-1)}
		m.errors[k] = e
	}
	return value*(1+e[0]) + e[1], limits, true
}

// Indicate returns what the meter shows for a true value at a place, as digits and as
// a number, or false where no range holds it.
func (m *Meter) Indicate(q run.Quantity, place string, value float64) (text string, shown float64, ok bool) {
	off, limits, ok := m.Distort(q, place, value)
	if !ok {
		return "", 0, false
	}
	counts := math.Round(off/limits.Resolution + digitNoise*m.rng.NormFloat64())
	digits := max(0, int(math.Ceil(-math.Log10(limits.Resolution)-1e-9)))
	text = strconv.FormatFloat(counts*limits.Resolution, 'f', digits, 64)
	shown, _ = strconv.ParseFloat(text, 64) // the digits are the reading
	return text, shown, true
}
