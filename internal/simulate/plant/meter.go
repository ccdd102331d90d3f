package plant

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Meter is one real instrument. The gain and offset errors of each range are drawn within its stated
// accuracy; for a separate sensor at every place, they are drawn for each place.
type Meter struct {
	run.Meter
	by     Disturbance
	common []gainOffset // by range
	seed   uint64       // of the sensors' errors
}

type gainOffset struct{ gain, offset float64 }

// NewMeter draws an instrument of the stated accuracy.
func NewMeter(stated run.Meter, by Disturbance, rng *rand.Rand) *Meter {
	m := &Meter{Meter: stated, by: by}
	if stated.Each {
		m.seed = rng.Uint64()
	} else {
		m.common = m.drawErrors(rng)
	}
	return m
}

func (m *Meter) drawErrors(rng *rand.Rand) (errors []gainOffset) {
	for _, r := range m.Ranges {
		errors = append(errors, gainOffset{r.KnownGain + r.Fraction*between(rng, -1, 1), r.KnownOffset + r.Counts*r.Resolution*between(rng, -1, 1)})
	}
	return errors
}

// errors returns the errors of each range at a place. They do not depend on the order in
// which places are read.
func (m *Meter) errors(place string) []gainOffset {
	if !m.Each {
		return m.common
	}
	name := fnv.New64a()
	_, _ = name.Write([]byte(place)) // a hash takes everything
	return m.drawErrors(rand.New(rand.NewPCG(m.seed, name.Sum64())))
}

// Shown returns the indication for a true value at a place before rounding, SI, and the range; −1
// where no range holds it. The ripple and the noise of the last digit are drawn from rng.
func (m *Meter) Shown(q run.Quantity, place string, value float64, rng *rand.Rand) (shown float64, at int) {
	if at = m.Range(q, value); at < 0 {
		return 0, at
	}
	if q == run.Voltage && m.by.RangeKept {
		at = max(at, m.largerRange(q))
	}
	e := m.errors(place)[at]
	return value*(1+e.gain+normal(rng, m.by.Ripple)) + e.offset + normal(rng, m.by.DigitNoise)*m.Ranges[at].Resolution, at
}

// largerRange returns the index of the second range of a quantity; ranges are in ascending order.
func (m *Meter) largerRange(q run.Quantity) int {
	first := slices.IndexFunc(m.Ranges, func(r run.Range) bool { return r.Quantity == q })
	return first + 1
}

// Read fills in what a person writes down for a true value, and returns the range, or
// −1 where no range shows it. Millivolts are written where the finest range shows them.
func (m *Meter) Read(x *reading.Reading, value float64, rng *rand.Rand) int {
	shown, at := m.Shown(x.Quantity, x.From+" "+x.To, value, rng)
	if at < 0 {
		return at
	}
	r := m.Ranges[at]
	m.write(x, r, math.Round(shown/r.Resolution)*r.Resolution)
	return at
}

// write fills in a displayed value as it is written down.
func (m *Meter) write(x *reading.Reading, r run.Range, shown float64) {
	digits := decimals(r.Resolution)
	x.Unit = reading.Unit(x.Quantity)
	if x.Quantity == run.Voltage {
		if digits > 3 {
			x.Unit, shown, digits = "mV", shown*1000, digits-3
		} else if m.by.TwoDecimals {
			digits = min(digits, 2)
		}
	}
	x.Text = strconv.FormatFloat(shown, 'f', digits, 64)
	if m.by.Trimmed && strings.Contains(x.Text, ".") {
		x.Text = strings.TrimSuffix(strings.TrimRight(x.Text, "0"), ".")
	}
	SetValue(x)
}

// SetValue sets a reading's value to what its text says.
func SetValue(x *reading.Reading) {
	value, err := reading.Value(x.Quantity, x.Text, x.Unit)
	if err != nil {
		panic("plant: a reading was written that cannot be read: " + err.Error())
	}
	x.Value = value
}

func decimals(resolution float64) int { return max(0, int(math.Round(-math.Log10(resolution)))) }
