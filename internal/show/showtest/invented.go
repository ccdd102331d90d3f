// Package showtest makes an assessment and a prediction of an invented run, for the tests of the packages that show them. Nothing here was measured; the
// potentials come from a sum of drops along the run, not from the model.
package showtest

import (
	"math"
	"strconv"
	"time"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Run returns three reels (west, north, east: 240, 300 and 300 pixels at 60 a
// metre), fed near the start and at the far end by one supply.
func Run() *run.Run {
	strip := run.Strip{Volts: 5, PixelsPerMetre: 60, Idle: 0.0008, LoopOhms: 0.08, Channels: []run.Channel{
		{Name: "red", Amps: 0.012, Forward: 1.8, Knee: 3}, {Name: "green", Amps: 0.012, Forward: 2.6, Knee: 3.8},
		{Name: "blue", Amps: 0.012, Forward: 2.7, Knee: 3.9}}}
	levels := map[string]float64{"red": 0.05, "green": 0.05, "blue": 0.05}
	return &run.Run{
		Name: "Map room cornice", File: "cornice.toml", Ambient: 20,
		Supplies: []run.Supply{{Name: "A", Volts: 5.1, Amps: 20, Ohms: 0.005, Known: true}},
		Reels: []run.Reel{{Name: "west", Pixels: 240, Follows: -1, Strip: strip}, {Name: "north", Pixels: 300, Follows: 0, Strip: strip},
			{Name: "east", Pixels: 300, Follows: 1, Strip: strip}},
		Joints: []run.Joint{{Name: "west-north", From: 0, To: 1, Limit: 0.015, Ohms: 0.003}, {Name: "north-east", From: 1, To: 2, Limit: 0.015, Ohms: 0.003}},
		Feeds: []run.Feed{
			{Name: "near", From: run.Place{Kind: run.AtSupply}, To: run.Place{Kind: run.AtReel, Pixel: 1}, Length: 2.5,
				Conductor: "18 AWG", WireOhms: 0.1048, Ohms: 0.1048, Fuse: 5},
			{Name: "far", From: run.Place{Kind: run.AtSupply}, To: run.Place{Kind: run.AtReel, Index: 2, Pixel: 300}, Length: 6,
				Conductor: "1.5 mm2", WireOhms: 0.146, Ohms: 0.146, Fuse: 5}},
		Steps: []run.Step{{Name: "dark"}, {Name: "white 5 %", Levels: levels}},
		Meters: []run.Meter{{Name: "hand", Ranges: []run.Range{
			{Quantity: run.Voltage, UpTo: 0.6, Resolution: 0.0001, Fraction: 0.005, Counts: 3},
			{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001, Fraction: 0.005, Counts: 3},
			{Quantity: run.Current, UpTo: 10, Resolution: 0.01, Fraction: 0.012, Counts: 5}}}},
		Limits: run.Limits{JointOhms: 0.015, FeedDrop: 0.03, FeedExcess: 0.25, ConnectorOhms: 0.01, ReelExcess: 0.15, DesignStep: 1},
	}
}

// potentials sums drops from the near end on, for a current per pixel. The part
// of the current that comes from there is such that both ends meet the feeds.
func potentials(pixel float64) []assessment.ReelProfile {
	const nearLoop, farLoop = 0.1104, 0.2312
	mismatch := func(near float64) float64 {
		end := course(pixel, near, nearLoop)[2]
		return end.Plus[299] - end.Minus[299] - (5.1 - 840*pixel*(0.0061+(1-near)*farLoop))
	}
	none, all := mismatch(0), mismatch(1) // linear in the part
	return course(pixel, none/(none-all), nearLoop)
}

func course(pixel, near, nearLoop float64) (reels []assessment.ReelProfile) {
	const segment = 0.04 / 60 // Ω a rail
	total := 840 * pixel
	minus := total * (near*nearLoop/2 + 0.003)
	at, plus := 0, 5.1-minus
	for i, n := range []int{240, 300, 300} {
		r := assessment.ReelProfile{Name: []string{"west", "north", "east"}[i]}
		for range n {
			r.Plus, r.Minus = append(r.Plus, plus), append(r.Minus, minus)
			r.Band = append(r.Band, 0.004+0.012*total/2.2*math.Sin(math.Pi*float64(at)/840))
			at++
			flow := near*total - float64(at)*pixel
			plus, minus = plus-segment*flow, minus+segment*flow
			if at == 240 {
				plus, minus = plus-0.0937*flow, minus+0.0039*flow
			}
		}
		reels = append(reels, r)
	}
	return reels
}

// Assessment returns the run with a joint of 97.6 mΩ and a far feed that is too
// thin, a reading with swapped digits, and a joint without a reading beside it.
func Assessment() *assessment.Assessment {
	nan, inf := math.NaN(), math.Inf(1)
	return &assessment.Assessment{
		Run: Run(),
		Fit: assessment.Fit{Converged: true, ChiSquared: 31.2, DegreesOfFreedom: 24, PValue: 0.15},
		Elements: []assessment.Element{
			{Kind: run.KindSupply, Name: "A", Rail: run.Loop, Ohms: 0.0061, Low: 0.0032, High: 0.0093, Limit: nan, ProbabilityOverLimit: nan, Known: true, Amps: 2.24, Watts: 0.0306},
			{Kind: run.KindFeed, Name: "near", Rail: run.Loop, Ohms: 0.1104, Low: 0.1081, High: 0.1127, Limit: 0.141, ProbabilityOverLimit: 0, Verdict: assessment.Pass, Known: true, Amps: 1.61, Watts: 0.286},
			{Kind: run.KindFeed, Name: "far", Rail: run.Loop, Ohms: 0.2312, Low: 0.2214, High: 0.2409, Limit: 0.1925, ProbabilityOverLimit: 1, Verdict: assessment.Fail, Known: true, BehavesLike: "0.75 mm2 copper", Amps: 0.63, Watts: 0.0918},
			{Kind: run.KindReel, Name: "west", Rail: run.Loop, Ohms: 0.0789, Low: 0.0771, High: 0.0808, Limit: 0.092, ProbabilityOverLimit: 0, Verdict: assessment.Pass, Known: true, Amps: 1.61, Watts: 0.62},
			{Kind: run.KindReel, Name: "north", Rail: run.Loop, Ohms: 0.0803, Low: 0.0775, High: 0.083, Limit: 0.092, ProbabilityOverLimit: 0, Verdict: assessment.Pass, Known: true, Amps: 0.97, Watts: 0.2},
			{Kind: run.KindReel, Name: "east", Rail: run.Loop, Ohms: 0.081, Low: 0.0702, High: 0.0921, Limit: 0.092, ProbabilityOverLimit: 0.026, Verdict: assessment.Unproven, Known: true, Amps: 0.63, Watts: 0.1},
			{Kind: run.KindJoint, Name: "west-north", Rail: run.Loop, Ohms: 0.0976, Low: 0.0949, High: 0.1004, Limit: 0.015, ProbabilityOverLimit: 1, Verdict: assessment.Fail, Known: true, Amps: 0.97, Watts: 0.0918},
			{Kind: run.KindJoint, Name: "west-north", Rail: run.Plus, Ohms: 0.0937, Low: 0.0911, High: 0.0964, Limit: 0.015, ProbabilityOverLimit: 1, Verdict: assessment.Fail, Known: true, Amps: 0.97, Watts: 0.0882},
			{Kind: run.KindJoint, Name: "west-north", Rail: run.Minus, Ohms: 0.0039, Low: 0.0014, High: 0.0065, Limit: 0.015, ProbabilityOverLimit: 0, Verdict: assessment.Pass, Known: true, Amps: 0.97, Watts: 0.0037},
			{Kind: run.KindJoint, Name: "north-east", Rail: run.Loop, Ohms: 0.003, Low: 0, High: inf, Limit: 0.015, ProbabilityOverLimit: 0.5, Verdict: assessment.Unproven, Amps: 0.17, Watts: 0.0001},
		},
		Readings: readings(),
		Next: []assessment.Next{
			{Quantity: run.Voltage, From: "north.end+", To: "north.end-", Step: "white 5 %", Settles: []string{"north-east", "east"}},
		},
		Findings: []assessment.Finding{
			{Severity: assessment.Failing, Subject: "joint west-north", Text: "The plus conductor has 93.7 mΩ where 15 mΩ is the most for both together. The minus is sound."},
			{Severity: assessment.Failing, Subject: "feed far", Text: "It behaves like 0.75 mm2 copper, not like the 1.5 mm2 that is stated."},
			{Severity: assessment.Warning, Subject: "line 9", Text: "The reading contradicts the others; two of its digits may be swapped."},
			{Severity: assessment.Notice, Subject: "joint north-east", Text: "Nothing was read beside it."},
		},
		Profiles: []assessment.Profile{{Step: "dark", Reels: potentials(0.0008)}, {Step: "white 5 %", Reels: potentials(0.0026)}},
	}
}

func readings() []assessment.Reading {
	at := time.Date(2031, 3, 4, 16, 20, 0, 0, time.FixedZone("", 3600))
	dark, white := potentials(0.0008), potentials(0.0026)
	var out []assessment.Reading
	add := func(step, from, to, unit string, predicted, z float64) *assessment.Reading {
		off, digits, scale := z*0.004, 3, 1.0
		if unit == "mV" {
			off, digits, scale = z*0.0004, 1, 1000
		}
		text := strconv.FormatFloat((predicted+off)*scale, 'f', digits, 64)
		value, err := strconv.ParseFloat(text, 64)
		if err != nil {
			panic(err) // it was written a line above
		}
		out = append(out, assessment.Reading{
			Reading: reading.Reading{Row: len(out) + 2, Time: at.Add(time.Duration(len(out)) * time.Minute), Step: step,
				From: from, To: to, Text: text, Unit: unit, Value: value / scale, Meter: "hand"},
			Predicted: predicted, Residual: value/scale - predicted, Standardised: z, Used: true})
		return &out[len(out)-1]
	}
	pair := func(p []assessment.ReelProfile, reel, pixel int) float64 {
		return p[reel].Plus[pixel] - p[reel].Minus[pixel]
	}
	add("dark", "west.start+", "west.start-", "V", pair(dark, 0, 0), 0.5)
	add("dark", "north.start+", "north.start-", "V", pair(dark, 1, 0), -0.6)
	add("dark", "east.end+", "east.end-", "V", pair(dark, 2, 299), 0.9)
	add("white 5 %", "west.start+", "west.start-", "V", pair(white, 0, 0), 0.4)
	add("white 5 %", "west.end+", "west.end-", "V", pair(white, 0, 239), -1.1)
	add("white 5 %", "north.start+", "north.start-", "V", pair(white, 1, 0), 0.2)
	add("white 5 %", "north.100+", "north.100-", "V", pair(white, 1, 99), 1.3)
	bad := add("white 5 %", "north.200+", "north.200-", "V", pair(white, 1, 199), -64.2)
	bad.Suspect, bad.Used, bad.Note = true, false, "digits may be swapped"
	add("white 5 %", "east.end+", "east.end-", "V", pair(white, 2, 299), -0.3)
	add("white 5 %", "west.end+", "north.start+", "mV", white[0].Plus[239]-white[1].Plus[0], 0.7)
	add("white 5 %", "west.end-", "north.start-", "mV", white[0].Minus[239]-white[1].Minus[0], -0.8)
	amps := add("white 5 %", "near", "", "A", 1.572, 0.4)
	amps.Quantity = run.Current
	return out
}

// Prediction returns the same run without its faults, in the step "white 5 %".
func Prediction() *prediction.Prediction {
	p := &prediction.Prediction{
		Run: Run(), Step: "white 5 %",
		Supplies: []prediction.Supply{{Name: "A", Volts: 5.089, Amps: 2.184}},
		Feeds:    []prediction.Feed{{Name: "near", Amps: 1.572, Drop: 0.1647, Ohms: 0.1048}, {Name: "far", Amps: 0.612, Drop: 0.0893, Ohms: 0.146}},
		Joints:   []prediction.Joint{{Name: "west-north", Amps: 0.949, Drop: 0.0028, Ohms: 0.003}, {Name: "north-east", Amps: 0.169, Drop: 0.0005, Ohms: 0.003}},
		Warnings: []string{"feed near: 3.2 % of the supply's volts are lost in it; the limit is 3 %"},
	}
	for _, r := range potentials(0.0026) {
		reel := prediction.Reel{Name: r.Name}
		for i := range r.Plus {
			reel.Pixels = append(reel.Pixels, prediction.Pixel{Volts: r.Plus[i] - r.Minus[i], Plus: r.Plus[i], Minus: r.Minus[i], Amps: 0.0026})
		}
		p.Reels = append(p.Reels, reel)
	}
	return p
}
