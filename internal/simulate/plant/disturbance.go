package plant

// Disturbance is an effect in a real run that a model of it may not include. Each figure is common
// practice, no source. The zero value has no disturbance.
type Disturbance struct {
	Name string

	DigitNoise  float64 // counts, standard deviation of a display's last digit, beside its rounding
	TwoDecimals bool    // volts are written with two decimals where the display shows more
	RangeKept   bool    // the meter stays on its second range for volts where the first would hold the value
	Trimmed     bool    // a spreadsheet has dropped trailing zeros
	Ripple      float64 // standard deviation of a reading in parts of its value

	Pixels      float64 // standard deviation of one pixel's current among its neighbours'
	Gradient    float64 // how much the pixels' current changes along the run, as a part: see addGradient
	Thinning    float64 // how much more resistance the copper has at one end of a reel than at the other
	Warming     float64 // K by which the strip's copper is warmer from each step to the next
	FeedWarming float64 // K by which the wire of all feeds is at most warmer from each step to the next, besides what it takes of Warming
	Sag         float64 // V by which the supplies fall from each step to the next, besides their resistance
	Levels      float64 // standard deviation of each step's levels, as a part of them
	Foils       float64 // by how much the foil of one rail may have more resistance than the other's
	TwoSteps    bool    // two steps are read, not four

	NoThermometer bool // no temperature is read; else by chance, once or in each step
}

// Plain is a run built and read with usual care: noise of the last digit of 0.6 counts, pixels that
// differ by half a percent, foils by 3 %.
var Plain = Disturbance{Name: "plain: noise of the last digit 0.6 counts", DigitNoise: 0.6, Pixels: 0.005, Foils: 0.03,
	Thinning: 0.005, Levels: 0.01}
