package planttest

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
)

// Slip is an error in writing down a reading.
type Slip int

const (
	NoSlip            Slip = iota
	SwappedDigits          // two digits of one reading change places
	WrongSign              // one reading has the other sign
	WrongPlace             // one pair voltage was taken at another place of the same step
	ExchangedCurrents      // the currents of two feeds have changed places, in every step
	WrongUnit              // V was typed for mV, or mV for V
	ReversedLeads          // all voltages of one step have the other sign
	OtherLoad              // a whole step was read while another was shown
	StuckRange             // the display held its value for some readings of one range
)

func (s Slip) String() string {
	return [...]string{"none", "two digits of a reading swapped", "one reading's sign", "one reading at a wrong place",
		"currents of two feeds exchanged", "V typed for mV, or mV for V", "leads reversed for a step", "a step read in another load",
		"a range held its value"}[s]
}

// Slips returns all slips.
func Slips() []Slip {
	return []Slip{SwappedDigits, WrongSign, WrongPlace, ExchangedCurrents, WrongUnit, ReversedLeads, OtherLoad, StuckRange}
}

// slip changes readings, and reports whether it found one that it changes by more than a meter's
// error.
func (c *Case) slip(s Slip, rng *rand.Rand) bool {
	if s == NoSlip {
		return true
	}
	const tries = 200
	readings, ranges := slices.Clone(c.Readings), slices.Clone(c.Ranges)
	for range tries {
		if c.trySlip(s, rng); len(c.Wrong) > 0 {
			return true
		}
		copy(c.Readings, readings)
		copy(c.Ranges, ranges)
		c.WrongWithinError, c.SlipNames = nil, nil
	}
	return false
}

// exceedsMeterError reports whether a value differs from the true one by more than the error limit
// of any meter: 3 % and 25 counts.
func (c *Case) exceedsMeterError(i int, value float64) bool {
	r := c.Meter.Ranges[c.Ranges[i]]
	off := math.Abs(value - c.Truth[i])
	return off > 25*r.Resolution && off > 0.03*math.Abs(c.Truth[i])
}

// rewrite changes what is written for one reading.
func (c *Case) rewrite(i int, text, unit string) {
	x := &c.Readings[i]
	before := x.Value
	x.Text, x.Unit = text, unit
	plant.SetValue(x)
	if c.exceedsMeterError(i, x.Value) {
		c.Wrong = append(c.Wrong, i)
	} else if x.Value != before {
		c.WrongWithinError = append(c.WrongWithinError, i)
	}
}

// trySlip makes the slip at a reading drawn at random, if it can be made there.
func (c *Case) trySlip(s Slip, rng *rand.Rand) {
	i := rng.IntN(len(c.Readings))
	x := c.Readings[i]
	switch s {
	case SwappedDigits:
		b := []byte(x.Text)
		k := rng.IntN(len(b))
		l := k + 1
		if l < len(b) && b[l] == '.' {
			l++
		}
		if l < len(b) && digit(b[k]) && digit(b[l]) && x.Quantity != run.Temperature {
			b[k], b[l] = b[l], b[k]
			c.rewrite(i, string(b), x.Unit)
		}
	case WrongSign:
		if x.Quantity != run.Temperature {
			c.rewrite(i, negative(x.Text), x.Unit)
		}
	case WrongPlace:
		y := c.Readings[rng.IntN(len(c.Readings))]
		if pair(x) && pair(y) && x.Step == y.Step {
			c.rewrite(i, y.Text, y.Unit)
		}
	case WrongUnit:
		if x.Quantity == run.Voltage && math.Abs(c.Truth[i]) > 0.005 {
			c.rewrite(i, x.Text, map[string]string{"V": "mV", "mV": "V"}[x.Unit])
		}
	case ExchangedCurrents:
		if two := rng.Perm(len(c.Run.Feeds)); len(two) > 1 {
			a, b := c.Run.Feeds[two[0]].Name, c.Run.Feeds[two[1]].Name
			c.exchange(a, b)
			c.SlipNames = []string{a, b}
		}
	case ReversedLeads:
		c.SlipNames = []string{x.Step}
		for k, y := range c.Readings {
			if y.Step == x.Step && y.Quantity == run.Voltage {
				c.rewrite(k, negative(y.Text), y.Unit)
			}
		}
	case OtherLoad:
		c.readElsewhere(x.Step, rng)
	case StuckRange:
		c.hold(i, 3+rng.IntN(4))
	}
}

func digit(b byte) bool { return b >= '0' && b <= '9' }

func negative(text string) string {
	if bare, was := strings.CutPrefix(text, "-"); was {
		return bare
	}
	return "-" + text
}

// pair reports whether a reading is the voltage of one place.
func pair(x reading.Reading) bool {
	return x.Quantity == run.Voltage && strings.TrimSuffix(x.From, "+") == strings.TrimSuffix(x.To, "-")
}

// exchange swaps the currents of two feeds in each step.
func (c *Case) exchange(a, b string) {
	for i, x := range c.Readings {
		for k, y := range c.Readings {
			if x.Quantity == run.Current && y.Quantity == run.Current && x.Step == y.Step && x.From == a && y.From == b {
				c.rewrite(i, y.Text, y.Unit)
				c.rewrite(k, x.Text, x.Unit)
			}
		}
	}
}

// readElsewhere reads one step again while another is shown.
func (c *Case) readElsewhere(name string, rng *rand.Rand) {
	other := rng.IntN(len(c.Run.Steps))
	if c.Run.Steps[other].Name == name || c.Plant.Set(other) != nil {
		return
	}
	c.SlipNames = []string{name, c.Run.Steps[other].Name}
	for i := range c.Readings {
		x := &c.Readings[i]
		if x.Step != name || x.Quantity == run.Temperature {
			continue
		}
		again := *x
		if at := c.Meter.Read(&again, c.now(i), c.rng); at >= 0 {
			c.Ranges[i] = at
			c.rewrite(i, again.Text, again.Unit)
		}
	}
}

// now is the true value of what a reading reads, in the step that is set.
func (c *Case) now(i int) float64 {
	x := c.Readings[i]
	return c.Plant.True(x.Quantity, x.From, x.To)
}

// hold gives the readings after one, of its range and step, the same value, most readings at most.
func (c *Case) hold(i, most int) {
	first := c.Readings[i]
	for k := i + 1; k < len(c.Readings) && most > 0; k++ {
		if x := c.Readings[k]; x.Step == first.Step && c.Ranges[k] == c.Ranges[i] {
			c.rewrite(k, first.Text, first.Unit)
			most--
		}
	}
}
