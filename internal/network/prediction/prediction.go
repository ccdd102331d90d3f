// Package prediction computes one step of a run from its run file alone: potentials along the
// reels, currents and drops of the feeds, and warnings of values beyond a rating. It uses no
// readings.
package prediction

import "ohmkeep/internal/run"

// Prediction is one step of one run. Values are SI, resistances at 20 °C.
type Prediction struct {
	Run      *run.Run
	Step     string
	Supplies []Supply
	Feeds    []Feed
	Joints   []Joint
	Reels    []Reel
	Warnings []string
}

// Supply is the voltage, V, and current, A, of a supply at its terminals.
type Supply struct {
	Name        string
	Volts, Amps float64
}

// Feed is the load of one feed.
type Feed struct {
	Name string
	Amps float64 // A, positive towards the strip
	Drop float64 // V, of both conductors together
	Ohms float64 // Ω, loop at 20 °C
}

// Joint is the load of one joint.
type Joint struct {
	Name string
	Amps float64 // A, of the rail with the larger current
	Drop float64 // V, of both conductors together; of the minus where the plus is cut
	Ohms float64 // Ω, loop
}

// Reel holds the pixels of one reel.
type Reel struct {
	Name   string
	Pixels []Pixel // the first is pixel number 1
}

// Pixel is the state of one pixel.
type Pixel struct {
	Volts       float64 // V, pair voltage
	Plus, Minus float64 // V, potentials against the first supply's minus terminal
	Amps        float64 // A
}
