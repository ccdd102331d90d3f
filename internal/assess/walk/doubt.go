package walk

import (
	"math"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Doubt is how a reading contradicts those before it.
type Doubt struct {
	Low   float64 `json:"low"`           // SI, of the 95 % interval of what was expected, the meter's errors included
	High  float64 `json:"high"`          //
	Value float64 `json:"value"`         // what was read, SI
	Why   string  `json:"why,omitempty"` // the mistake that would explain it; "" = no usual one does
}

const (
	// doubtSigmas is how many standard deviations a reading may lie from what is expected.
	doubtSigmas = 5.0
	// agreement is how far two readings of the same place may differ, as a part of their value, beside
	// agreementCounts of the meter's last digit (common practice, no source).
	agreement       = 0.01
	agreementCounts = 5
	// mostReads is how often a place is read before its reading counts in any case.
	mostReads = 3
	// maxSupplyRatio and minPairRatio are bounds of a pair voltage, over the highest volts of a supply. Meter
	// errors and a supply above its stated volts lie within (common practice, no source).
	maxSupplyRatio = 1.2
	minPairRatio   = -0.02
)

// Event returns the event of a reading, without its number: whether it contradicts what was read
// before, and whether it replaces an earlier reading of the place. A second reading that agrees
// with the first confirms it, also against what was expected; one that does not replaces it.
func (w Walk) Event(x reading.Reading) Event {
	e := ReadingEvent(x)
	reads := 0
	for _, was := range w.state.done {
		if was.Kind == Read && was.key() == e.key() {
			reads++
		}
	}
	for _, was := range w.state.inForce {
		if was.key() != e.key() {
			continue
		}
		before, _ := was.Reading() // Apply has checked it
		if w.agree(before, x) {
			return e
		}
		e.Replaces = true
	}
	if reads+1 < mostReads {
		e.Doubt = w.doubt(x)
	}
	return e
}

// agree reports whether two readings of a place show the same within what a meter and a steady run
// vary.
func (w Walk) agree(a, b reading.Reading) bool {
	count := 0.0
	if i := w.run.MeterIndex(b.Meter); i >= 0 {
		if at := w.run.Meters[i].ShownRange(b.Quantity, b.Value, b.LastDigit()); at >= 0 {
			count = w.run.Meters[i].Ranges[at].Resolution
		}
	}
	return math.Abs(a.Value-b.Value) <= agreement*math.Max(math.Abs(a.Value), math.Abs(b.Value))+agreementCounts*count
}

// doubt returns how a reading contradicts what is known, nil if it does not.
func (w Walk) doubt(x reading.Reading) *Doubt {
	impossible, why := w.impossible(x)
	if w.known != nil {
		if e, ok := w.known.expected[ReadingEvent(x).key()]; ok {
			if math.Abs(x.Value-e.Value) <= doubtSigmas*e.Deviation && !impossible {
				return nil
			}
			if why == "" {
				why = judge.LikelyMistake(predicted(x, e.Value, e.Deviation), w.known.predictions())
			}
			return w.newDoubt(x, e.Value, e.Deviation, why)
		}
	}
	if impossible {
		return w.newDoubt(x, w.highestSupply(), math.Inf(1), why)
	}
	return nil
}

// newDoubt returns the doubt of a reading, given what was expected. A pair voltage lies between zero and
// the highest supply.
func (w Walk) newDoubt(x reading.Reading, expected, deviation float64, why string) *Doubt {
	d := Doubt{Low: expected - verdict.Coverage95*deviation, High: expected + verdict.Coverage95*deviation, Value: x.Value, Why: why}
	if w.isPair(x) {
		d.Low, d.High = math.Max(d.Low, 0), math.Min(d.High, w.highestSupply())
	}
	return &d
}

// predicted returns a reading with what was predicted for it.
func predicted(x reading.Reading, value, deviation float64) assessment.Reading {
	return assessment.Reading{Reading: x, Predicted: value, Residual: x.Value - value, Standardised: (x.Value - value) / deviation}
}

// isPair reports whether a reading is of plus against minus at one place.
func (w Walk) isPair(x reading.Reading) bool {
	from, err := w.run.Point(x.From)
	to, err2 := w.run.Point(x.To)
	return x.Quantity == run.Voltage && err == nil && err2 == nil && from.Place == to.Place && from.Rail == run.Plus
}

// impossible reports whether a pair voltage is none that the supplies can cause, and the mistake that would
// explain it.
func (w Walk) impossible(x reading.Reading) (yes bool, why string) {
	highest := w.highestSupply()
	switch {
	case !w.isPair(x):
		return false, ""
	case x.Value < minPairRatio*highest:
		return true, "its leads may have been reversed"
	case x.Value > 1000*minPairRatio*-highest:
		return true, "its unit may be wrong: a thousandth of the value would fit"
	}
	return x.Value > maxSupplyRatio*highest, ""
}

func (w Walk) highestSupply() (volts float64) {
	for _, s := range w.run.Supplies {
		volts = math.Max(volts, s.Volts)
	}
	return volts
}

// again returns the reading to take again, and why; nil = there is none.
func (w Walk) again() (assessment.Next, *Doubt) {
	if d := w.state.doubted; d != nil {
		return next(*d), d.Doubt
	}
	if w.known == nil {
		return assessment.Next{}, nil
	}
	reads, skipped := map[key]int{}, map[key]bool{}
	for _, e := range w.state.done {
		switch e.Kind {
		case Read:
			reads[e.key()]++
		case Skip:
			skipped[e.key()] = true
		}
	}
	for i := range w.known.suspects {
		s := &w.known.suspects[i]
		// A second reading that replaced the first, or confirmed it, is not known yet.
		if k := keyOf(s.next); reads[k] == s.reads && s.reads < mostReads && !skipped[k] && !w.state.left[s.next.Step] {
			return s.next, &s.doubt
		}
	}
	return assessment.Next{}, nil
}
