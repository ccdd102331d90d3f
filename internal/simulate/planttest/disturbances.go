package planttest

import (
	"math/rand/v2"

	"ohmkeep/internal/simulate/plant"
)

// Disturbances returns Plain and each single disturbance, which comes on top of it.
func Disturbances() []plant.Disturbance {
	list := []plant.Disturbance{plant.Plain}
	for _, with := range []struct {
		name string
		set  func(*plant.Disturbance)
	}{
		{"low noise of the last digit: 0.15 counts", func(d *plant.Disturbance) { d.DigitNoise = 0.15 }},
		{"noise of the last digit: 1.2 counts", func(d *plant.Disturbance) { d.DigitNoise = 1.2 }},
		{"volts written with two decimals", func(d *plant.Disturbance) { d.TwoDecimals = true }},
		{"trailing zeros dropped", func(d *plant.Disturbance) { d.Trimmed = true }},
		{"0.04 % of every value besides", func(d *plant.Disturbance) { d.Ripple = 0.0004 }},
		{"pixels differ by 4 %", func(d *plant.Disturbance) { d.Pixels = 0.04 }},
		{"pixels' current changes by 8 % along the run", func(d *plant.Disturbance) { d.Gradient = 0.08 }},
		{"copper thins by 5 % along a reel", func(d *plant.Disturbance) { d.Thinning = 0.05 }},
		{"copper warms by 4 K from step to step", func(d *plant.Disturbance) { d.Warming = 4 }},
		{"strip and feeds warm apart, no thermometer", func(d *plant.Disturbance) { d.Warming, d.FeedWarming, d.NoThermometer = 4, 4, true }},
		{"supplies sag by 12 mV from step to step", func(d *plant.Disturbance) { d.Sag = 0.012 }},
		{"levels are 12 % off, each step by itself", func(d *plant.Disturbance) { d.Levels = 0.12 }},
		{"foils differ by up to a quarter", func(d *plant.Disturbance) { d.Foils = 0.25 }},
		{"small volts shown on the meter's second range", func(d *plant.Disturbance) { d.RangeKept = true }},
		{"two steps only", func(d *plant.Disturbance) { d.TwoSteps = true }},
	} {
		d := plant.Plain
		d.Name = with.name
		with.set(&d)
		list = append(list, d)
	}
	return list
}

// Several draws a run in which four of the single disturbances come together.
func Several(rng *rand.Rand) plant.Disturbance {
	d := plant.Plain
	d.Name = "several at once"
	single := Disturbances()[2:]
	for _, k := range rng.Perm(len(single))[:4] {
		add(&d, single[k])
	}
	return d
}

// add copies from another disturbance the values that differ from Plain.
func add(d *plant.Disturbance, o plant.Disturbance) {
	take := func(mine *float64, other, plain float64) {
		if other != plain {
			*mine = other
		}
	}
	take(&d.DigitNoise, o.DigitNoise, plant.Plain.DigitNoise)
	take(&d.Ripple, o.Ripple, plant.Plain.Ripple)
	take(&d.Pixels, o.Pixels, plant.Plain.Pixels)
	take(&d.Gradient, o.Gradient, plant.Plain.Gradient)
	take(&d.Thinning, o.Thinning, plant.Plain.Thinning)
	take(&d.Warming, o.Warming, plant.Plain.Warming)
	take(&d.FeedWarming, o.FeedWarming, plant.Plain.FeedWarming)
	take(&d.Sag, o.Sag, plant.Plain.Sag)
	take(&d.Levels, o.Levels, plant.Plain.Levels)
	take(&d.Foils, o.Foils, plant.Plain.Foils)
	d.TwoDecimals = d.TwoDecimals || o.TwoDecimals
	d.Trimmed = d.Trimmed || o.Trimmed
	d.RangeKept = d.RangeKept || o.RangeKept
	d.TwoSteps = d.TwoSteps || o.TwoSteps
	d.NoThermometer = d.NoThermometer || o.NoThermometer
}
