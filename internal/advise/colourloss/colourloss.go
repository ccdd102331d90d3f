// Package colourloss computes what people see of a run in one of its steps: the light
// of every pixel beside the same colour at full voltage, where along the run
// colour or brightness exceeds its limit, and what causes the worst pixel's shift and
// dimming.
//
// The run is either as its file states it or as an estimate has fitted it. With an
// estimate every value of the worst pixel has a 95 % interval: draws
// from the estimate's covariance go through the network linearised at its best
// estimate, and through the nonlinear law of light with its knees. No datasheet shows how a
// channel's current falls below its knee, so every second pair of draws has a straight fall with the
// same total current of the run instead of the cubic one. The primaries are taken as stated.
//
// The causes' shares are Shapley values (package shapley). The players are the supplies, feeds,
// joints and the copper of the reels. A player outside the coalition is ideal: a supply of the
// strip's rated volts without output resistance, a conductor without resistance. So the shares add
// up to the whole loss, and a supply that is trimmed above the rating has a negative share.
package colourloss

import (
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/network/light"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
)

// Appearance is one step of one run as it is seen. Values are SI; shifts are CIE
// 1976 Δu'v', dimmings parts of the light at full voltage.
type Appearance struct {
	Run       *run.Run
	Step      run.Step
	Fitted    bool // by readings; false: as the run file states
	Reels     []Reel
	Stretches []Stretch // beyond a limit, in the order of the reels
	Change    Change
	Worst     Spot               // or the chosen pixel
	Asked     bool               // Worst is a chosen pixel
	Shares    []Share            // of the worst spot, the greatest first; they add up to its values
	Verdict   assessment.Verdict // on the worst pixel, also if another was chosen
	Assumed   string             // assumptions of the verdict that the run file does not state; "" = none
	Warnings  []string
}

// Change is what a run shows anywhere beyond its limits.
type Change int

const (
	Neither Change = iota
	DimmerOnly
	ColourOnly
	Both
)

// Reel is what is seen along one reel.
type Reel struct {
	Name   string
	Full   colour.XYZ // one pixel's light at full voltage, in mcd as far as primaries are stated in it
	Pixels []Pixel    // the first is pixel number 1
}

// Pixel is what one pixel shows.
type Pixel struct {
	Volts float64
	light.Output
}

// Stretch is neighbouring pixels of one reel beyond the same limits.
type Stretch struct {
	Reel          string
	From, To      int // pixel numbers
	Colour, Dim   bool
	Shift, Dimmed float64 // the greatest of them
}

// Spot is one pixel, with all that is known of it.
type Spot struct {
	Place          run.Place
	Name           string // such as west.end
	Volts          interval.Interval
	Shift, Dimming interval.Interval
	Whiteness      White // of the full and the seen light
	SeenAs         White
}

// White is a correlated colour temperature in kelvin and Duv; Valid reports whether
// the light is near enough to white to have one.
type White struct {
	Valid       bool
	Kelvin, Duv float64
}

// Share is what one cause contributes at the worst spot.
type Share struct {
	Kind  run.Kind // Reel: the copper of all of them
	Names []string // of several that were taken together, such as the other joints

	Volts, Shift, Dimming interval.Interval // Volts: lost against the rated volts
}

func whiteness(c colour.XYZ) White {
	kelvin, duv, ok := colour.Temperature(c.UV())
	return White{ok, kelvin, duv}
}
