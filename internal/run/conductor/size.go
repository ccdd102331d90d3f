package conductor

import (
	"fmt"
	"math"
)

// classFive lists the highest resistance at 20 °C, Ω/km, of a finely stranded plain copper
// conductor by cross-section, mm²: IEC 60228 class 5, Table 3, from 0.5 mm²; below that
// VDE 0295.
var classFive = []struct{ area, ohmsPerKilometre float64 }{
	{0.14, 134}, {0.25, 76}, {0.34, 53},
	{0.5, 39.0}, {0.75, 26.0}, {1.0, 19.5}, {1.5, 13.3}, {2.5, 7.98}, {4, 4.95}, {6, 3.30}, {10, 1.91},
}

// strandedGauge is the ratio of the resistance of stranded to that of solid wire (NEC
// chapter 9 Table 8: 1.020 to 1.026 from 18 to 8 AWG).
const strandedGauge = 1.02

// strandingFactor returns the ratio of the resistance of fine strands to that of solid metal of
// the same size. Between the sizes of the table it is interpolated, beyond them constant.
func (c Conductor) strandingFactor() float64 {
	if c.system == gauge {
		return strandedGauge
	}
	ratio := func(i int) float64 { return classFive[i].ohmsPerKilometre / 1000 * 58 * classFive[i].area }
	last := len(classFive) - 1
	if c.area <= classFive[0].area {
		return ratio(0)
	}
	for i := range last {
		if below, above := classFive[i].area, classFive[i+1].area; c.area <= above {
			part := (c.area - below) / (above - below)
			return ratio(i) + part*(ratio(i+1)-ratio(i))
		}
	}
	return ratio(last)
}

// Sizes that are sold, the thinnest first (common practice, no source). 0 is 1/0 AWG, −3 is
// 4/0 AWG.
var (
	gaugeSold  = []int{30, 28, 26, 24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2, 1, 0, -1, -2, -3}
	metricSold = []float64{0.14, 0.25, 0.34, 0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120}
)

// Like names the size, in c's own system, metal and stranding, whose resistance
// is nearest to the given one (Ω/m of one wire at 20 °C), such as "22 AWG" or
// "0.34 mm2". A resistance more than a quarter above the thinnest size is
// "thinner than" it.
func (c Conductor) Like(ohmsPerMetre float64) string {
	sold := c.sold()
	best, nearest := sold[0], math.Inf(1)
	for _, s := range sold {
		if apart := math.Abs(math.Log(s.OhmsPerMetre(20) / ohmsPerMetre)); apart < nearest {
			best, nearest = s, apart
		}
	}
	if ohmsPerMetre > 1.25*sold[0].OhmsPerMetre(20) {
		return "thinner than " + best.size()
	}
	return best.size()
}

// sold returns the sizes on the market as conductors of c's metal and stranding.
func (c Conductor) sold() []Conductor {
	var all []Conductor
	if c.system == gauge {
		for _, number := range gaugeSold {
			all = append(all, Conductor{gauge, gaugeArea(number), c.metal, c.fine})
		}
		return all
	}
	for _, area := range metricSold {
		all = append(all, Conductor{metric, area, c.metal, c.fine})
	}
	return all
}

// Thicker returns the next larger size of c's system that is sold; ok is false where there
// is no larger one.
func (c Conductor) Thicker() (size string, ok bool) {
	for _, s := range c.sold() {
		if s.area > c.area*1.01 {
			return s.size(), true
		}
	}
	return "", false
}

// size returns a conductor's size as Parse reads it.
func (c Conductor) size() string {
	if c.system == metric {
		return fmt.Sprintf("%g mm2", c.area)
	}
	diameter := math.Sqrt(c.area * 4 / math.Pi)
	number := int(math.Round(36 - 39*math.Log(diameter/0.127)/math.Log(92)))
	if number <= 0 {
		return fmt.Sprintf("%d/0 AWG", 1-number)
	}
	return fmt.Sprintf("%d AWG", number)
}
