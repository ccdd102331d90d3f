package drift

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	chart "github.com/wcharczuk/go-chart/v2"
	"github.com/wcharczuk/go-chart/v2/drawing"

	"ohmkeep/internal/drift/nightly"
	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
)

var tradeoff = flag.Int("tradeoff", 0, "measure delay against false alarms in so many simulated run-years and as many faults, and draw it into testdata")

// record is a simulated time as the nights of its days.
type record struct {
	run    *run.Run
	nights [][]nightly.Night
}

func recorded(t *testing.T, text string, story months.Scenario, seed uint64) record {
	x := record{run: runtest.Parse(t, text)}
	reader := nightly.NewReader(x.run)
	var sensed nightly.Sensed
	for list, err := range months.Days(x.run, story, seed) {
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 0 {
			continue
		}
		for i := range list {
			reader.Add(DayOf(list[0]), &list[i], &sensed)
		}
		nights, err := reader.Day(DayOf(list[0]), &sensed)
		if err != nil {
			t.Fatal(err)
		}
		x.nights = append(x.nights, nights)
	}
	return x
}

// judged folds the nights with a caution that is a multiple of the usual one.
func (x record) judged(times float64) *history.History {
	u := defaultThresholds
	s := &State{Version: Version, stricter: thresholds{u.jump * times, u.ramp * times, u.evidence * times * times}}
	f := Follow(x.run, s)
	for _, nights := range x.nights {
		f.fold(nights)
	}
	return s.History(x.run)
}

// Less caution calls sooner and more often for nothing. This is the measurement behind
// the figures that were chosen; it writes the curve and its numbers into testdata.
func TestTradeoff(t *testing.T) {
	if *tradeoff == 0 {
		t.Skip("a measurement of minutes: run with -tradeoff 30")
	}
	n := *tradeoff
	steps := []float64{0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8, 1, 1.3, 1.7}
	wrong := make([]float64, len(steps))
	delays := map[string][][]float64{"jump of 15 mΩ": make([][]float64, len(steps)), "ramp of 60 mΩ a year": make([][]float64, len(steps))}
	missed := map[string][]int{"jump of 15 mΩ": make([]int, len(steps)), "ramp of 60 mΩ a year": make([]int, len(steps))}
	for i := range n {
		rng := rand.New(rand.NewPCG(uint64(i), 77))
		what, text, story := vex(i, 365, rng)
		x := recorded(t, text, story, uint64(5000+i))
		for k, times := range steps {
			for _, s := range x.judged(times).Series {
				if len(s.Changes) > 0 {
					wrong[k]++
					if times == 1 {
						t.Logf("%s: called %s of %s %s for nothing", what, s.Changes[0].Shape, s.Kind, s.Name)
					}
				}
			}
		}
		for name, change := range map[string]func(day float64, p *plant.Plant, _ *rand.Rand){
			"jump of 15 mΩ": func(day float64, p *plant.Plant, _ *rand.Rand) {
				if day > 100 {
					p.Joints[0].Plus += 0.015
				}
			},
			"ramp of 60 mΩ a year": func(day float64, p *plant.Plant, _ *rand.Rand) {
				p.Joints[0].Plus += 0.060 * math.Max(0, day-100) / 365
			},
		} {
			story := usual(200)
			story.Change = change
			x := recorded(t, gallery, story, uint64(6000+i))
			for k, times := range steps {
				found := false
				for _, s := range x.judged(times).Series {
					for _, c := range s.Changes {
						if after := c.Detected.Sub(story.Begin).Hours()/24 - 100; s.Name == "west-north" && after > 0 && !found {
							found = true
							delays[name][k] = append(delays[name][k], after)
						}
					}
				}
				if !found {
					missed[name][k]++
				}
			}
		}
	}
	table := "# Simulated. false: false calls a healthy run-year. delay: median days until a joint's change is called.\n" +
		fmt.Sprintf("# %d healthy run-years and %d faults of each kind; caution 1 is the one in use.\ncaution,false,step_delay,step_missed,ramp_delay,ramp_missed\n", n, n)
	for k, times := range steps {
		table += fmt.Sprintf("%g,%.3g,%.1f,%d,%.1f,%d\n", times, wrong[k]/float64(n), trend.Median(delays["jump of 15 mΩ"][k]), missed["jump of 15 mΩ"][k],
			trend.Median(delays["ramp of 60 mΩ a year"][k]), missed["ramp of 60 mΩ a year"][k])
	}
	t.Log("\n" + table)
	if err := os.WriteFile(filepath.Join("testdata", "tradeoff.csv"), []byte(table), 0o644); err != nil {
		t.Fatal(err)
	}
	drawTradeoff(t)
}

// drawTradeoff draws the curve from its numbers.
func drawTradeoff(t *testing.T) []byte {
	f, err := os.Open(filepath.Join("testdata", "tradeoff.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table := csv.NewReader(f)
	table.Comment = '#'
	rows, err := table.ReadAll()
	if err != nil || len(rows) < 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	const left, right = -2.5, 0.0 // decimal logarithms
	line := func(name string, column int, c drawing.Color) (chart.ContinuousSeries, chart.AnnotationSeries) {
		s := chart.ContinuousSeries{Style: chart.Style{StrokeColor: c, StrokeWidth: 3, DotColor: c, DotWidth: 5}}
		a := chart.AnnotationSeries{Style: chart.Style{FontSize: 10, FontColor: c, StrokeColor: c}}
		for _, row := range rows[1:] {
			var caution, wrong, days float64
			if _, err := fmt.Sscan(row[0]+" "+row[1]+" "+row[column], &caution, &wrong, &days); err != nil {
				t.Fatal(err)
			}
			at := math.Max(math.Log10(wrong), left+0.1)
			s.XValues, s.YValues = append(s.XValues, at), append(s.YValues, days)
			switch {
			case caution == 1:
				a.Annotations = append(a.Annotations, chart.Value2{XValue: at, YValue: days, Label: fmt.Sprintf("%s, caution 1: %.1f days", name, days)})
			case caution == 0.2, caution == 1.7 && days > 10:
				a.Annotations = append(a.Annotations, chart.Value2{XValue: at, YValue: days, Label: fmt.Sprintf("%g: %.1f", caution, days)})
			}
		}
		return s, a
	}
	ramp, rampWords := line("ramp of 60 mΩ a year", 4, drawing.Color{R: 170, G: 46, B: 26, A: 255})
	step, stepWords := line("jump of 15 mΩ", 2, drawing.Color{R: 22, G: 105, B: 130, A: 255})
	c := chart.Chart{Width: 1000, Height: 520, Title: "Median days until a change is called, against false calls", TitleStyle: chart.Style{FontSize: 14},
		Background: chart.Style{Padding: chart.NewBox(60, 30, 40, 20)},
		// The library takes its ranges from the ticks, so the ends have some.
		XAxis: chart.XAxis{Name: "false calls in a healthy run-year (left end: none in the simulation)",
			Ticks: []chart.Tick{{Value: left, Label: "none"}, {Value: -2, Label: "0.01"}, {Value: -1.5, Label: "0.03"}, {Value: -1, Label: "0.1"}, {Value: -0.5, Label: "0.3"}, {Value: right, Label: "1"}}},
		YAxis: chart.YAxis{Name: "days", AxisType: chart.YAxisSecondary,
			Ticks: []chart.Tick{{Value: 0, Label: "0"}, {Value: 20, Label: "20"}, {Value: 40, Label: "40"}, {Value: 60, Label: "60"}}},
		Series: []chart.Series{ramp, step, rampWords, stepWords}}
	var picture bytes.Buffer
	if err := c.Render(chart.PNG, &picture); err != nil {
		t.Fatal(err)
	}
	return picture.Bytes()
}
