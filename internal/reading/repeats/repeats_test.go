package repeats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/run"
)

// shelf is an invented run.
var shelf = &run.Run{Name: "Shelf", Steps: []run.Step{{Name: "dark"}, {Name: "white"}},
	Meters: []run.Meter{{Name: "hand", Ranges: []run.Range{{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001}}}}}

var begin = time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC)

// sheet makes readings row after row.
type sheet []reading.Reading

// add appends a reading of a place in a step, some seconds after begin.
func (s *sheet) add(seconds float64, step, place string, volts float64) {
	text := fmt.Sprintf("%.3f", volts)
	var shown float64
	fmt.Sscan(text, &shown)
	*s = append(*s, reading.Reading{Row: len(*s) + 2, Time: begin.Add(time.Duration(seconds * float64(time.Second))), Step: step,
		From: place + "+", To: place + "-", Text: text, Unit: "V", Value: shown, Meter: "hand"})
}

// A place that was read a few times in a step is left as it was read, in the order of the rows.
func TestFewStayAsTheyAre(t *testing.T) {
	var s sheet
	for i := range repeats.MaxSingle {
		s.add(float64(-i), "white", "left.start", 4.8)
		s.add(float64(100000*i), "white", "left.end", 4.7)
	}
	list, older := repeats.Of(shelf, s)
	if !reflect.DeepEqual(list, []reading.Reading(s)) || older != 0 {
		t.Errorf("%d older, %v", older, list)
	}
}

// Many readings become one: the mean, the scatter and the rows are those of the textbook
// (JCGM 100:2008, 4.2), and neither places nor steps are mixed.
func TestManyBecomeOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var s sheet
	for i := range 400 {
		for _, place := range []string{"left.start", "left.end"} {
			s.add(float64(i), "white", place, 4.8+0.0025*rng.NormFloat64())
		}
		s.add(float64(i)+0.5, "dark", "left.start", 5.05+0.0025*rng.NormFloat64())
	}
	list, older := repeats.Of(shelf, s)
	if len(list) != 3 || older != 0 {
		t.Fatalf("%d older, %+v", older, list)
	}
	for _, x := range list {
		var values []float64
		var rows []int
		for _, y := range s {
			if y.Step == x.Step && y.From == x.From {
				values, rows = append(values, y.Value), append(rows, y.Row)
			}
		}
		mean, squares := 0.0, 0.0
		for _, v := range values {
			mean += v / 400
		}
		for _, v := range values {
			squares += (v - mean) * (v - mean)
		}
		m := x.Mean
		if m == nil || m.Count != 400 || math.Abs(x.Value-mean) > 1e-12 || math.Abs(m.Scatter-math.Sqrt(squares/399)) > 1e-9 ||
			m.Independent < 300 || x.Text != fmt.Sprintf("%.3f", mean) || x.Row != rows[0] {
			t.Errorf("%+v, %+v; mean %g, scatter %g", x, m, mean, math.Sqrt(squares/399))
		}
		if !reflect.DeepEqual(m.Rows, rows) || !reflect.DeepEqual(m.Values, values) {
			t.Errorf("rows %v, want %v", m.Rows, rows)
		}
	}
}

// The same readings one by one, without their rows.
func TestGathererHoldsNoRows(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 3))
	g := repeats.New(shelf, false)
	var s sheet
	for i := range 5000 {
		s.add(float64(i), "white", "left.start", 4.8+0.0025*rng.NormFloat64())
	}
	for _, x := range s {
		g.Add(x)
	}
	got, _ := g.Readings()
	want, _ := repeats.Of(shelf, s)
	if len(got) != 1 || len(want) != 1 || math.Abs(got[0].Value-want[0].Value) > 1e-12 || got[0].Mean.Rows != nil || len(want[0].Mean.Rows) != 5000 ||
		got[0].Mean.Count != 5000 || got[0].Mean.Scatter != want[0].Mean.Scatter {
		t.Errorf("%+v\n%+v", got, want)
	}
}

// Where the copper warms or the level is set again, the minutes that show the same count;
// a place read again after a pause is another reading; of months the last half day counts.
func TestMinutesThatBelongTogether(t *testing.T) {
	for _, c := range []struct {
		name  string
		make  func(s *sheet, volts func(float64) float64)
		means []float64
		older int
	}{
		{"warming for ten minutes, then steady for thirty", func(s *sheet, volts func(float64) float64) {
			for i := range 240 {
				at := float64(10 * i)
				s.add(at, "white", "left.end", volts(4.7+0.02*math.Max(0, 1-at/600)))
			}
		}, []float64{4.7}, 60},
		{"set again after twenty minutes, read for ten", func(s *sheet, volts func(float64) float64) {
			for i := range 180 {
				level := 4.7
				if i >= 120 {
					level = 4.5
				}
				s.add(float64(10*i), "white", "left.end", volts(level))
			}
		}, []float64{4.5}, 120},
		{"read again after a pause", func(s *sheet, volts func(float64) float64) {
			for i := range 40 {
				s.add(float64(5*i), "white", "left.end", volts(4.7))
				s.add(float64(5*i)+1200, "white", "left.end", volts(4.69))
			}
		}, []float64{4.7, 4.69}, 0},
		{"every night", func(s *sheet, volts func(float64) float64) {
			for night := range 30 {
				for i := range 10 {
					s.add(float64(86400*night+i), "white", "left.end", volts(4.7-0.01*float64(night)))
				}
			}
		}, []float64{4.41}, 290},
	} {
		rng := rand.New(rand.NewPCG(4, 5))
		var s sheet
		c.make(&s, func(v float64) float64 { return v + 0.0006*rng.NormFloat64() })
		list, older := repeats.Of(shelf, s)
		ok := len(list) == len(c.means) && math.Abs(float64(older-c.older)) <= 30
		for i := 0; ok && i < len(list); i++ {
			ok = math.Abs(list[i].Value-c.means[i]) < 0.001 && list[i].Mean != nil
		}
		if !ok {
			t.Errorf("%s: %d older, want about %d; means %v, want %v", c.name, older, c.older, list, c.means)
		}
	}
}

// A slip of the hand among many stays a single reading, that a fit may call wrong, and the
// mean is without it.
func TestOddReadingsStaySingle(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 7))
	var s sheet
	for i := range 60 {
		s.add(float64(i), "white", "left.end", 4.7+0.001*rng.NormFloat64())
	}
	s.add(60, "white", "left.end", 7.4)
	list, _ := repeats.Of(shelf, s)
	if len(list) != 2 || list[0].Mean == nil || math.Abs(list[0].Value-4.7) > 0.001 || list[1].Mean != nil || list[1].Row != 62 || list[1].Value != 7.4 {
		t.Errorf("%+v", list)
	}
}

// What drifts slowly within its scatter is worth no more than what its mean is good for:
// the mean of readings correlated by ρ with the next has (1+ρ)/(1−ρ) times the variance,
// here in a simulated autoregression.
func TestCorrelatedReadingsAreWorthLess(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	const rho, n, trials = 0.8, 200, 300
	claimed, missed := 0.0, 0.0
	for range trials {
		var s sheet
		wander := rng.NormFloat64()
		for i := range n {
			s.add(float64(i), "white", "left.end", 4.7+0.01*wander)
			wander = rho*wander + math.Sqrt(1-rho*rho)*rng.NormFloat64()
		}
		list, _ := repeats.Of(shelf, s)
		x := list[len(list)-1]
		claimed += x.Mean.Scatter * x.Mean.Scatter / x.Mean.Independent / trials
		missed += (x.Value - 4.7) * (x.Value - 4.7) / trials
	}
	if ratio := claimed / missed; ratio < 0.75 || ratio > 1.4 {
		t.Errorf("a variance of %g is claimed, it is %g", claimed, missed)
	}
}

// Without its step a reading tells nothing of the run; the newest few stand for all.
func TestReadingsWithoutStep(t *testing.T) {
	var s sheet
	for i := range 1000 {
		s.add(float64(i), "", "left.end", 4.7)
	}
	list, older := repeats.Of(shelf, s)
	if len(list) != repeats.MaxSingle || older != 1000-repeats.MaxSingle || list[0].Row != 1002-repeats.MaxSingle || list[0].Mean != nil {
		t.Errorf("%d older, %+v", older, list)
	}
	only := *shelf
	only.Steps = shelf.Steps[:1]
	if list, _ := repeats.Of(&only, s); len(list) != 1 || list[0].Mean == nil || list[0].Mean.Count != 1000 {
		t.Errorf("of the only step: %+v", list)
	}
}

// The gatherer keeps no more of a year than of a day.
func TestGathererIsBounded(t *testing.T) {
	g := repeats.New(shelf, false)
	x := reading.Reading{Step: "white", From: "left.end+", To: "left.end-", Text: "4.700", Unit: "V", Value: 4.7, Meter: "hand"}
	kept := func(days int) float64 {
		for i := range days * 24 * 60 {
			x.Time, x.Row = x.Time.Add(time.Minute), x.Row+1
			x.Value = 4.7 + 0.001*float64(i%3)
			g.Add(x)
		}
		return testing.AllocsPerRun(1, func() { g.Readings() })
	}
	day, year := kept(1), kept(60)
	if year > 1.2*day {
		t.Errorf("%g allocations after a day, %g after two months", day, year)
	}
}
