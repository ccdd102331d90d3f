package drift

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	chart "github.com/wcharczuk/go-chart/v2"
	"github.com/wcharczuk/go-chart/v2/drawing"

	"ohmkeep/internal/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/series"
	"ohmkeep/internal/simulate"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/trend"
)

var tradeoff = flag.Int("tradeoff", 0, "measure delay against false alarms in so many simulated run-years and as many faults, and draw it into testdata")

// record is a simulated time as the nights of its days.
type record struct {
	run    *run.Run
	nights [][]series.Night
}

func recorded(t *testing.T, text string, story months.Story, seed uint64) record {
	x := record{run: parsed(t, text)}
	reader := series.NewReader(x.run)
	var sensed series.Sensed
	for list, err := range months.Days(x.run, story, seed) {
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 0 {
			continue
		}
		nights, err := reader.Day(DayOf(list[0]), list, &sensed)
		if err != nil {
			t.Fatal(err)
		}
		x.nights = append(x.nights, nights)
	}
	return x
}

// judged folds the nights with a caution that is a multiple of the usual one.
func (x record) judged(times float64) *history.History {
	u := usualCaution
	s := &State{Version: Version, caution: caution{u.step * times, u.ramp * times, u.evidence * times * times}}
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
		t.Skip("a measurement of minutes: run with -tradeoff 60")
	}
	n := *tradeoff
	steps := []float64{0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8, 1, 1.3, 1.7}
	wrong := make([]float64, len(steps))
	delays := map[string][][]float64{"step of 15 mΩ": make([][]float64, len(steps)), "ramp of 60 mΩ a year": make([][]float64, len(steps))}
	missed := map[string][]int{"step of 15 mΩ": make([]int, len(steps)), "ramp of 60 mΩ a year": make([]int, len(steps))}
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
		for name, change := range map[string]func(day float64, p *simulate.Plant, _ *rand.Rand){
			"step of 15 mΩ": func(day float64, p *simulate.Plant, _ *rand.Rand) {
				if day > 100 {
					p.Joints[0].Plus += 0.015
				}
			},
			"ramp of 60 mΩ a year": func(day float64, p *simulate.Plant, _ *rand.Rand) {
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
						if after := c.Called.Sub(story.Begin).Hours()/24 - 100; s.Name == "west-north" && after > 0 && !found {
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
	table := "# Simulated. false: calls for nothing a healthy run-year. delay: median days until a joint's change is called.\n" +
		fmt.Sprintf("# %d healthy run-years and %d faults of each kind; caution 1 is the one in use.\ncaution,false,step_delay,step_missed,ramp_delay,ramp_missed\n", n, n)
	for k, times := range steps {
		table += fmt.Sprintf("%g,%.3g,%.1f,%d,%.1f,%d\n", times, wrong[k]/float64(n), trend.Median(delays["step of 15 mΩ"][k]), missed["step of 15 mΩ"][k],
			trend.Median(delays["ramp of 60 mΩ a year"][k]), missed["ramp of 60 mΩ a year"][k])
	}
	t.Log("\n" + table)
	if err := os.WriteFile(filepath.Join("testdata", "tradeoff.csv"), []byte(table), 0o644); err != nil {
		t.Fatal(err)
	}
	drawTradeoff(t, steps, wrong, delays, float64(n))
}

func drawTradeoff(t *testing.T, steps, wrong []float64, delays map[string][][]float64, n float64) {
	line := func(name string, c drawing.Color, axis chart.YAxisType) (chart.ContinuousSeries, chart.AnnotationSeries) {
		s := chart.ContinuousSeries{Name: name, YAxis: axis, Style: chart.Style{StrokeColor: c, StrokeWidth: 3, DotColor: c, DotWidth: 5}}
		a := chart.AnnotationSeries{YAxis: axis, Style: chart.Style{FontSize: 9, FontColor: c, StrokeColor: c}}
		for k := range steps {
			if len(delays[name][k]) == 0 {
				continue
			}
			at := math.Log10(math.Max(wrong[k], 0.3) / n) // none at all is drawn at 0.3
			y := trend.Median(delays[name][k])
			s.XValues, s.YValues = append(s.XValues, at), append(s.YValues, y)
			if steps[k] == 1 || steps[k] == 0.2 {
				a.Annotations = append(a.Annotations, chart.Value2{XValue: at, YValue: y, Label: fmt.Sprintf("caution %g: %.1f days", steps[k], y)})
			}
		}
		return s, a
	}
	ramp, rampWords := line("ramp of 60 mΩ a year", drawing.Color{R: 170, G: 46, B: 26, A: 255}, chart.YAxisPrimary)
	step, stepWords := line("step of 15 mΩ", drawing.Color{R: 22, G: 105, B: 130, A: 255}, chart.YAxisPrimary)
	low, high := math.Log10(0.3/n)-0.1, math.Log10(math.Max(1, wrong[0])/n)+0.3
	// The library takes its range from the ticks, so the ends have some.
	ticks := []chart.Tick{{Value: low}}
	for e := math.Floor(low); e <= high; e++ {
		for _, m := range []float64{1, 3} {
			if at := e + math.Log10(m); at >= low && at <= high {
				ticks = append(ticks, chart.Tick{Value: at, Label: fmt.Sprintf("%.2g", m*math.Pow(10, e))})
			}
		}
	}
	ticks = append(ticks, chart.Tick{Value: high})
	var days []chart.Tick
	for d := 0.0; d <= 50; d += 10 {
		days = append(days, chart.Tick{Value: d, Label: fmt.Sprintf("%g", d)})
	}
	c := chart.Chart{Width: 1000, Height: 520, Title: "Days until a change is called, against calls for nothing", TitleStyle: chart.Style{FontSize: 14},
		Background: chart.Style{Padding: chart.NewBox(60, 70, 130, 20)},
		XAxis:      chart.XAxis{Name: "calls for nothing, a healthy run-year (none in the simulation: drawn at the left edge)", Ticks: ticks, Range: &chart.ContinuousRange{Min: low, Max: high}},
		YAxis:      chart.YAxis{Name: "days, median", AxisType: chart.YAxisSecondary, Ticks: days, Range: &chart.ContinuousRange{Min: 0, Max: 50}},
		Series:     []chart.Series{ramp, step, rampWords, stepWords}}
	c.Elements = []chart.Renderable{chart.Legend(&c)}
	f, err := os.Create(filepath.Join("testdata", "tradeoff.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := c.Render(chart.PNG, f); err != nil {
		t.Fatal(err)
	}
}
