package showtest

import (
	"math"
	"testing"
	"time"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
)

// Cove is an invented run of short reels whose pixels have too little voltage.
const Cove = `schema = 1
name = "Cove"
[strip]
volts = 5.0
pixels_per_metre = 2
channel_milliamps = 400
idle_milliamps = 5
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
milliohms = 5
[[reel]]
name = "west"
metres = 2.0
[[reel]]
name = "north"
metres = 2.0
[[joint]]
between = ["west", "north"]
milliohms = 60
[[feed]]
name = "near"
from = "A"
to = "west.start"
metres = 2.4
conductor = "18 AWG"
[[step]]
name = "white"
red = 1
green = 1
blue = 1
[limits]
design_step = "white"
`

// Seen returns what is seen of a run that is described by a run file.
func Seen(t *testing.T, src string) *colourloss.Appearance {
	t.Helper()
	r, err := runfile.Parse("Cove.toml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	a, err := colourloss.Make(r, 0, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Spread returns an appearance the intervals that readings would give it.
func Spread(a *colourloss.Appearance) *colourloss.Appearance {
	a.Fitted = true
	widen := func(k *interval.Interval) {
		half := 0.1 * math.Abs(k.Value)
		k.Low, k.High = k.Value-half, k.Value+half
	}
	for _, k := range []*interval.Interval{&a.Worst.Volts, &a.Worst.Shift, &a.Worst.Dimming} {
		widen(k)
	}
	for i := range a.Shares {
		for _, k := range []*interval.Interval{&a.Shares[i].Volts, &a.Shares[i].Shift, &a.Shares[i].Dimming} {
			widen(k)
		}
	}
	return a
}

// History is an invented history with every kind of change, and names that need escaping.
func History() *history.History {
	at := func(month, day int) time.Time {
		return time.Date(2026, time.Month(month), day, 3, 30, 0, 0, time.UTC)
	}
	none, inf := math.NaN(), math.Inf(1)
	var nights []history.Night
	for day := range 120 {
		nights = append(nights, history.Night{Time: at(3, 1+day), Ohms: 0.004 + 0.0001*float64(day), Error: 0.001, Outlier: day == 40})
	}
	return &history.History{Run: &run.Run{Name: "Hall <b>"}, Last: at(6, 30), Check: at(6, 30), Series: []history.Series{
		{Kind: run.KindFeed, Name: "near", Rail: run.Loop, First: at(3, 1), Last: at(6, 30), Ohms: 0.1049, Low: 0.1041, High: 0.1057,
			PerYear: 0.0012, PerYearLow: 0.0001, PerYearHigh: 0.0023, Limit: 0.14, Reaches: history.Forecast{Text: "not within 10 years"},
			Verdict: history.Steady, Nights: nights,
			Marks: []history.Mark{{Time: at(4, 2), Text: "a sensor was replaced", Before: 0.1, After: 0.1}}},
		{Kind: run.KindJoint, Name: "west-north", Rail: run.Loop, First: at(3, 1), Last: at(6, 30), Ohms: 0.016, Low: 0.0155, High: 0.0172,
			PerYear: 0.0365, PerYearLow: 0.03, PerYearHigh: 0.04, Limit: 0.015, Reaches: history.Forecast{Earliest: at(6, 1), Likely: at(6, 1), Latest: at(6, 1), Text: "it is over its limit"},
			Verdict: history.Drifting, TemperatureRead: true, Nights: nights, Stretches: []history.Stretch{{From: at(3, 1), To: at(6, 28), Begin: 0.004, End: 0.016}},
			Changes: []history.Change{{Time: at(3, 1), Earliest: at(2, 20), Latest: at(3, 12), Detected: at(4, 4), Shape: history.Ramp, Before: 0.004, After: 0.016},
				{Time: at(4, 10), Detected: at(4, 12), Shape: history.Burst, Before: 0.008, After: 0.1}}},
		{Kind: run.KindPath, Name: "west.start-east.end", Rail: run.Loop, First: at(6, 29), Last: at(6, 30), Ohms: none, Low: 0, High: inf,
			PerYear: none, PerYearLow: -inf, PerYearHigh: inf, Limit: none, Reaches: history.Forecast{Text: "it has no limit"},
			Verdict: history.Unproven, Why: "too few nights", Nights: nights[:2]},
	}}
}

// Schedule is an invented plan.
func Schedule() *plan.Plan {
	return &plan.Plan{Run: &run.Run{Name: "Map room"}, Meters: []string{"hand", "bench"}, Points: 2, Readings: 2, Warnings: []string{"the plus rails of supplies A and B meet"},
		Rounds: []plan.Round{{Step: "white 12 %", Reads: []assessment.Next{
			{Quantity: run.Current, From: "near", Step: "white 12 %", Meter: "hand"},
			{Quantity: run.Voltage, From: "west.end+", To: "north.start+", Step: "white 12 %", Meter: "bench"}}}},
		Elements: []plan.Element{
			{Kind: run.KindJoint, Name: "west-north", Limit: 0.015, Stated: 0.003, Amps: 1, Step: "white 12 %", Settled: true, HalfWidth: 0.0012, BestHalfWidth: 0.0011},
			{Kind: run.KindJoint, Name: "north-east", Limit: math.NaN(), HalfWidth: math.Inf(1), BestHalfWidth: math.Inf(1), Why: "its plus is parted"},
		}}
}

// Explained is an invented explanation.
func Explained() *assessment.Explanation {
	part := func(what, step string, of bool, share float64, v assessment.Verdict, rows ...int) assessment.Part {
		return assessment.Part{What: what, Step: step, PartOfPrevious: of, Share: share, Rows: rows, Ohms: 0.09, Low: 0.06, High: 0.13, Verdict: v, Known: share < 0.999}
	}
	single := part("the reading", "white 12 %", false, 0.3, assessment.Fail, 7)
	return &assessment.Explanation{
		Element: assessment.Element{Kind: run.KindJoint, Name: "west-north", Rail: run.Loop, Ohms: 0.0976, Low: 0.0949, High: 0.1004, Limit: 0.015, ProbabilityOverLimit: 1, Verdict: assessment.Fail, Known: true},
		Parts: []assessment.Part{
			part("the pair voltages either side of it", "", false, 0.97, assessment.Unproven, 4, 5, 6, 9),
			part("the pair voltages either side of it", "white 12 %", true, 0.81, assessment.Fail, 4, 7),
			part("all other voltages", "", false, 0.9995, assessment.Unproven, 10, 11),
		},
		Single:  &single,
		Sources: []assessment.Source{{What: "noise and rounding of the readings", Share: 0.7}},
	}
}

// Short is the invented prediction with the first four pixels of every reel.
func Short() *prediction.Prediction {
	p := Prediction()
	for i := range p.Reels {
		p.Reels[i].Pixels = p.Reels[i].Pixels[:4]
	}
	return p
}

// Wrecked returns the invented assessment with every name and number replaced by the given ones.
func Wrecked(name string, v float64) *assessment.Assessment {
	a := Assessment()
	a.Run.Name, a.Run.Reels[0].Name, a.Run.Meters[0].Name, a.Run.Steps[1].Name = name, name, name, name
	a.Run.Ambient = v
	a.Fit = assessment.Fit{ChiSquared: v, PValue: v}
	a.Run.Meters[0].Ranges[0] = run.Range{Quantity: run.Voltage, UpTo: v, Resolution: v, Fraction: v, Counts: v}
	a.Run.Limits = run.Limits{JointOhms: v, FeedDrop: v, FeedExcess: v, ConnectorOhms: v, ReelExcess: v, DesignStep: 1}
	for i := range a.Elements {
		e := &a.Elements[i]
		e.Name, e.BehavesLike, e.Ohms, e.Low, e.High, e.Limit, e.ProbabilityOverLimit, e.Amps, e.Watts = name, name, v, v, v, v, v, v, v
	}
	for i := range a.Readings {
		r := &a.Readings[i]
		r.From, r.To, r.Step, r.Text, r.Unit, r.Note = name, name, name, name, name, name
		r.Value, r.Predicted, r.Residual, r.Standardised = v, v, v, v
		r.Suspect = i%2 == 0
	}
	a.Next[0] = assessment.Next{From: name, To: name, Step: name, Settles: []string{name, name}}
	for i := range a.Findings {
		a.Findings[i].Subject, a.Findings[i].Text = name, name
	}
	for _, p := range a.Profiles {
		p.Reels[0].Plus[3] = v
	}
	return a
}

// Hostile is a name that needs escaping in every output format.
const Hostile = "<script>alert(1)</script>\x1b[2J\x00\r\n\"'&{{.}}\u202e日本語"
