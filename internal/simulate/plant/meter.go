package plant

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// stated is the accuracy of one hand meter: common kinds of 4000, 6000 and 2000 counts,
// each with a clamp.
type stated struct {
	percent, counts float64
	ranges          [][2]float64 // V: end and one count
	clamp           [4]float64   // A: end, one count; percent, counts
}

var meters = []stated{
	{0.5, 3, [][2]float64{{0.6, 0.0001}, {6, 0.001}, {60, 0.01}}, [4]float64{60, 0.01, 1.5, 3}},
	{0.8, 3, [][2]float64{{0.4, 0.0001}, {4, 0.001}, {40, 0.01}}, [4]float64{40, 0.01, 2, 5}},
	{0.5, 2, [][2]float64{{0.2, 0.0001}, {2, 0.001}, {20, 0.01}, {200, 0.1}}, [4]float64{20, 0.01, 2, 4}},
}

func (m stated) write(say func(string, ...any)) {
	say("[[meter]]\nname = \"hand\"")
	for _, r := range m.ranges {
		say("  [[meter.range]]\n  quantity = \"voltage\"\n  up_to = %g\n  resolution = %g\n  percent = %g\n  counts = %g", r[0], r[1], m.percent, m.counts)
	}
	say("  [[meter.range]]\n  quantity = \"current\"\n  up_to = %g\n  resolution = %g\n  percent = %g\n  counts = %g",
		m.clamp[0], m.clamp[1], m.clamp[2], m.clamp[3])
	say("  [[meter.range]]\n  quantity = \"temperature\"\n  up_to = 100\n  resolution = 0.1\n  percent = 0\n  counts = 15")
}

// meter is one real instrument: gain and offset of each range lie anywhere within its
// accuracy.
type meter struct {
	run.Meter
	gain, offset []float64
	by           Disturbance
	rng          *rand.Rand
}

func newMeter(m run.Meter, by Disturbance, rng *rand.Rand) *meter {
	x := &meter{Meter: m, by: by, rng: rng}
	for _, r := range m.Ranges {
		x.gain = append(x.gain, r.Fraction*between(rng, -1, 1))
		x.offset = append(x.offset, r.Counts*r.Resolution*between(rng, -1, 1))
	}
	return x
}

// read fills in what a person writes down for a true value, and returns the range, or
// −1 where no range shows it. Millivolts are written where the finest range shows them.
func (m *meter) read(x *reading.Reading, value float64) int {
	at := m.Range(x.Quantity, value)
	if at < 0 {
		return at
	}
	r := m.Ranges[at]
	shown := value*(1+m.gain[at]+normal(m.rng, m.by.Ripple)) + m.offset[at] + normal(m.rng, m.by.Wander)*r.Resolution
	m.write(x, r, math.Round(shown/r.Resolution)*r.Resolution)
	return at
}

// write fills in a displayed value as it is written down.
func (m *meter) write(x *reading.Reading, r run.Range, shown float64) {
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
	understand(x)
}

// understand sets a reading's value to what its text says.
func understand(x *reading.Reading) {
	value, err := reading.Value(x.Quantity, x.Text, x.Unit)
	if err != nil {
		panic("plant: a reading was written that cannot be read: " + err.Error())
	}
	x.Value = value
}

func decimals(resolution float64) int { return max(0, int(math.Round(-math.Log10(resolution)))) }
