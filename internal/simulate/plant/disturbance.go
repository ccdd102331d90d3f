package plant

import "math/rand/v2"

// Disturbance is an effect in a real run that a model of it may not include. Each figure is common
// practice, no source. The zero value has no disturbance.
type Disturbance struct {
	Name string

	Wander      float64 // counts, standard deviation of a display's last digit, beside its rounding
	TwoDecimals bool    // volts are written with two decimals where the display shows more
	Trimmed     bool    // a spreadsheet has dropped trailing zeros
	Ripple      float64 // standard deviation of a reading in parts of its value

	Pixels   float64 // standard deviation of one pixel's current among its neighbours'
	Thinning float64 // how much more resistance the copper has at one end of a reel than at the other
	Warming  float64 // K from each step to the next
	Sag      float64 // V by which the supplies fall from each step to the next, besides their resistance
	Levels   float64 // standard deviation of each step's levels, as a part of them
	Foils    float64 // by how much the foil of one rail may have more resistance than the other's
	TwoSteps bool    // two steps are read, not four
}

// Plain is the usual care: a digit that wanders by 0.6 counts, pixels that differ by
// half a percent, foils by 3 %.
var Plain = Disturbance{Name: "plain: the last digit wanders 0.6 counts", Wander: 0.6, Pixels: 0.005, Foils: 0.03,
	Thinning: 0.005, Levels: 0.01}

// Disturbances returns Plain and each single disturbance, which comes on top of it.
func Disturbances() []Disturbance {
	list := []Disturbance{Plain}
	for _, with := range []struct {
		name string
		set  func(*Disturbance)
	}{
		{"calm: the last digit wanders 0.15 counts", func(d *Disturbance) { d.Wander = 0.15 }},
		{"the last digit wanders 1.2 counts", func(d *Disturbance) { d.Wander = 1.2 }},
		{"volts written with two decimals", func(d *Disturbance) { d.TwoDecimals = true }},
		{"trailing zeros dropped", func(d *Disturbance) { d.Trimmed = true }},
		{"0.04 % of every value besides", func(d *Disturbance) { d.Ripple = 0.0004 }},
		{"pixels differ by 4 %", func(d *Disturbance) { d.Pixels = 0.04 }},
		{"copper thins by 5 % along a reel", func(d *Disturbance) { d.Thinning = 0.05 }},
		{"copper warms by 4 K from step to step", func(d *Disturbance) { d.Warming = 4 }},
		{"supplies sag by 12 mV from step to step", func(d *Disturbance) { d.Sag = 0.012 }},
		{"levels are 12 % off, each step by itself", func(d *Disturbance) { d.Levels = 0.12 }},
		{"foils differ by up to a quarter", func(d *Disturbance) { d.Foils = 0.25 }},
		{"two steps only", func(d *Disturbance) { d.TwoSteps = true }},
	} {
		d := Plain
		d.Name = with.name
		with.set(&d)
		list = append(list, d)
	}
	return list
}

// Several draws a run in which four of the single disturbances come together.
func Several(rng *rand.Rand) Disturbance {
	d := Plain
	d.Name = "several at once"
	single := Disturbances()[2:]
	for _, k := range rng.Perm(len(single))[:4] {
		d.add(single[k])
	}
	return d
}

// add takes from another disturbance what differs from Plain there.
func (d *Disturbance) add(o Disturbance) {
	take := func(mine *float64, other, plain float64) {
		if other != plain {
			*mine = other
		}
	}
	take(&d.Wander, o.Wander, Plain.Wander)
	take(&d.Ripple, o.Ripple, Plain.Ripple)
	take(&d.Pixels, o.Pixels, Plain.Pixels)
	take(&d.Thinning, o.Thinning, Plain.Thinning)
	take(&d.Warming, o.Warming, Plain.Warming)
	take(&d.Sag, o.Sag, Plain.Sag)
	take(&d.Levels, o.Levels, Plain.Levels)
	take(&d.Foils, o.Foils, Plain.Foils)
	d.TwoDecimals = d.TwoDecimals || o.TwoDecimals
	d.Trimmed = d.Trimmed || o.Trimmed
	d.TwoSteps = d.TwoSteps || o.TwoSteps
}
