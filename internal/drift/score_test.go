package drift

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/months"
)

// score counts the verdicts and dates on simulated runs.
type score struct {
	runs, right                       int // all verdicts of a run
	changes, found, dated, sized, all int
	datable                           int // dated as well as the noise of the nights allows
	held, intervals                   int // dates inside their 95 % intervals
	level, rates                      int // rates' intervals of what does not change, those that hold zero
	ramps                             int
	off, bound                        float64 // days², of ramps' dates: sums of the squared errors and of their bounds
	calls, unproven, series           int     // false calls
}

func (c *score) count(e event, story months.Scenario, h *history.History) (fine bool) {
	c.runs++
	fine = true
	if e.element != "" {
		c.changes++
	}
	for _, s := range h.Series {
		c.series++
		if s.Name != e.element {
			if len(s.Changes) > 0 || s.Verdict != history.Steady && s.Verdict != history.Unproven {
				c.calls++
				fine = false
			}
			if s.Verdict == history.Unproven {
				c.unproven++
			}
			if !math.IsNaN(s.PerYear) && s.Kind != run.KindPath {
				c.rates++
				if s.PerYearLow <= 0 && s.PerYearHigh >= 0 {
					c.level++
				}
			}
			continue
		}
		fine = fine && s.Verdict == e.verdict && len(s.Changes) == 1 && s.Changes[0].Shape == e.shape
		for _, x := range s.Changes {
			if x.Shape != e.shape {
				continue
			}
			c.found++
			on := func(at time.Time) float64 { return at.Sub(story.Begin).Hours()/24 - e.at }
			wrong := math.Abs(on(x.Time))
			noise, season := dateBound(e, story, s)
			if wrong <= 4 {
				c.dated++
			}
			if wrong <= max(4, 2.17*noise+season) {
				c.datable++
			}
			if e.shape == history.Ramp {
				c.ramps, c.off, c.bound = c.ramps+1, c.off+wrong*wrong, c.bound+noise*noise+season*season/3
			}
			if !x.Earliest.IsZero() {
				c.intervals++
				if on(x.Earliest) <= 0 && on(x.Latest) >= 0 {
					c.held++
				}
			}
			if e.size > 0 {
				c.all++
				if math.Abs((x.After-x.Before)/e.size-1) <= 0.2 {
					c.sized++
				}
			}
			break
		}
	}
	if fine {
		c.right++
	}
	return fine
}

// dateBound returns the least standard deviation that the date of a ramp can have, in days:
// the Cramér-Rao bound for the knee of a bent line through nights that scatter evenly, with
// its level, its knee and its slope unknown. Where a thermometer follows the weather by a
// third less than the copper, the apparent change of a feed's wire is added, which no night
// distinguishes from a contact: season is the greatest shift of the date by it.
func dateBound(e event, story months.Scenario, s history.Series) (noise, season float64) {
	if e.shape != history.Ramp {
		return 0, 0
	}
	slope := e.size / (float64(e.days) - e.at)
	var differ []float64
	var info [3][3]float64
	for i, n := range s.Nights {
		if i > 0 {
			differ = append(differ, math.Abs(n.Ohms-s.Nights[i-1].Ohms)/math.Sqrt2)
		}
		by := [3]float64{1, 0, 0}
		if x := n.Time.Sub(story.Begin).Hours()/24 - e.at; x > 0 {
			by = [3]float64{1, -slope, x}
		}
		for r := range by {
			for c := range by {
				info[r][c] += by[r] * by[c]
			}
		}
	}
	slices.Sort(differ)
	sigma := 1.4826 * differ[len(differ)/2]
	if story.Cabinet > 0 && e.element == "near" {
		season = 0.1 * 0.00393 * story.Season / 3 / slope
	}
	return sigma * math.Sqrt(knee(info)), season
}

// knee is the second diagonal element of a symmetric matrix's inverse.
func knee(m [3][3]float64) float64 {
	det := func(a, b, c, d float64) float64 { return a*d - b*c }
	all := m[0][0]*det(m[1][1], m[1][2], m[2][1], m[2][2]) - m[0][1]*det(m[1][0], m[1][2], m[2][0], m[2][2]) +
		m[0][2]*det(m[1][0], m[1][1], m[2][0], m[2][1])
	return det(m[0][0], m[0][2], m[2][0], m[2][2]) / all
}

// hold fails where less is right than is wanted, three binomial deviations allowed.
func (c *score) hold(t *testing.T) {
	t.Helper()
	for _, x := range []struct {
		what      string
		some, all int
		part      float64
	}{{"runs judged rightly", c.right, c.runs, 0.97}, {"changes found", c.found, c.changes, 0.97},
		{"dates as good as they can be", c.datable, c.found, 0.97}, {"sizes within 20 %", c.sized, c.all, 0.97},
		{"dates in their intervals", c.held, c.intervals, 0.95}, {"rates of what stays as it is hold zero", c.level, c.rates, 0.95}} {
		n, part := float64(x.all), x.part
		if float64(x.some) < part*n-3*math.Sqrt(n*part*(1-part)) {
			t.Errorf("%s: %d of %d", x.what, x.some, x.all)
		}
	}
}

func (c *score) add(o score) {
	c.runs, c.right = c.runs+o.runs, c.right+o.right
	c.changes, c.found, c.dated, c.sized, c.all = c.changes+o.changes, c.found+o.found, c.dated+o.dated, c.sized+o.sized, c.all+o.all
	c.datable, c.held, c.intervals = c.datable+o.datable, c.held+o.held, c.intervals+o.intervals
	c.level, c.rates = c.level+o.level, c.rates+o.rates
	c.ramps, c.off, c.bound = c.ramps+o.ramps, c.off+o.off, c.bound+o.bound
	c.calls, c.unproven, c.series = c.calls+o.calls, c.unproven+o.unproven, c.series+o.series
}

func (c *score) String() string {
	of := func(some, all int) string {
		if all == 0 {
			return "-"
		}
		return fmt.Sprintf("%d/%d", some, all)
	}
	dates := ""
	if n := float64(c.ramps); n > 0 {
		dates = fmt.Sprintf("%.1f, %.1f", math.Sqrt(c.off/n), math.Sqrt(c.bound/n))
	}
	return fmt.Sprintf("%9s %9s %9s %9s %9s %9s %9s %9s %s", of(c.right, c.runs), of(c.found, c.changes), of(c.dated, c.found), of(c.datable, c.found),
		of(c.held, c.intervals), of(c.sized, c.all), of(c.unproven, c.series), of(c.level, c.rates), dates)
}
