// Package report writes an assessment of a run as one HTML page that holds what it follows from,
// and verifies such a page.
//
// The run file, the profiles of the user's own and the readings stand in the page as readable
// text, which can be taken out exactly as it was put in (Input). Everything else on the page is a
// function of them, of the time at which it was made and of the program's version: verifying makes
// the page again and compares it byte by byte. A SHA-256 sum of the whole page, in its last line,
// finds a change of what the rest does not depend on, such as a comment in the run file. The sum is no
// signature: anyone can make another report from other readings.
package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/show/page"
)

// Input is what a report follows from.
type Input struct {
	RunFile  []byte
	Profiles []Profile         // of the run's probes, as far as the program does not bring them
	Readings []reading.Reading // single ones, or means of many
	Repairs  []Repair          // in the order of time
	// Stretches are the readings before the first repair, between each two, and after the last; one
	// more than repairs, or none without repairs.
	Stretches [][]reading.Reading
	Made      time.Time
	Program   string // version of the program that made the report
}

// Profile is a file that describes a device.
type Profile struct{ Name, Text string }

// Repair is work that was noted on the run.
type Repair struct {
	Time time.Time
	Text string
}

// Report is a report with everything that it shows.
type Report struct {
	Assessment *assessment.Assessment
	page       page.Options
}

// Fitted is a run that was fitted to readings and judged.
type Fitted struct {
	run        *run.Run
	readings   []reading.Reading
	estimate   *estimate.Estimate
	Assessment *assessment.Assessment
}

// Fit fits a run to readings, in which repeated ones were taken together, and judges it.
func Fit(r *run.Run, readings []reading.Reading) (*Fitted, error) {
	est, err := estimate.Make(r, readings)
	if err != nil {
		return nil, err
	}
	a, err := judge.FromEstimate(r, est)
	return &Fitted{r, readings, est, a}, err
}

// Make makes a report. What it shows is computed from what will be read out of it again, so that
// line numbers are those of the readings in the page. known is a fit of the same run file to the same
// readings, which is used if its line numbers are those too; it may be nil. The error is of the run
// file, the readings or the fit.
func Make(in Input, known *Fitted) (*Report, error) {
	inside, err := pack(in)
	if err != nil {
		return nil, err
	}
	return compute(inside, known)
}

// compute makes a report from the parts inside it.
func compute(inside contents, known *Fitted) (*Report, error) {
	in, r, err := inside.unpack()
	if err != nil {
		return nil, err
	}
	readings := gathered(r, in.Readings)
	if known == nil || !slices.EqualFunc(readings, known.readings, same) {
		if known, err = Fit(r, readings); err != nil {
			return nil, fmt.Errorf("the readings inside: %w", err)
		}
	}
	r, est, a := known.run, known.estimate, known.Assessment
	report := &Report{Assessment: a, page: page.Options{Made: in.Made, Program: in.Program, Inside: inside.parts, Sum: noSum}}
	if len(loadlimit.Mixes(r)) > 0 { // some step lights a channel
		report.page.Loads, err = repair.AsWired(func(step int) repair.Basis { return repair.Fitted(r, est, a, step) }, r.Limits.DesignStep, repair.Options{})
		if err != nil {
			return nil, err
		}
	}
	if n := len(in.Repairs); n > 0 {
		report.page.BeforeRepair = Before(in.Repairs[n-1].Time, readings)
	}
	report.page.Repairs, err = compare(r, in)
	return report, err
}

// same reports whether two readings are the same for a fit and a page.
func same(a, b reading.Reading) bool {
	means := a.Mean == nil && b.Mean == nil || a.Mean != nil && b.Mean != nil && a.Mean.Count == b.Mean.Count &&
		a.Mean.Scatter == b.Mean.Scatter && a.Mean.Independent == b.Mean.Independent && slices.Equal(a.Mean.Rows, b.Mean.Rows)
	at := a.Time.Equal(b.Time)
	a.Time, b.Time, a.Mean, b.Mean, a.Counts, b.Counts = time.Time{}, time.Time{}, nil, nil, reading.Counts{}, reading.Counts{}
	return means && at && a == b
}

// Before returns how many readings were taken before a moment.
func Before(moment time.Time, readings []reading.Reading) (n int) {
	for _, x := range readings {
		if x.Time.Before(moment) {
			n++
		}
	}
	return n
}

// gathered takes repeated readings together, unless that was done before.
func gathered(r *run.Run, readings []reading.Reading) []reading.Reading {
	for _, x := range readings {
		if x.Mean != nil {
			return readings
		}
	}
	few, _ := repeats.Of(r, readings)
	return few
}

// compare judges the run before and after each repair.
func compare(r *run.Run, in Input) ([]page.Repair, error) {
	var judged []*assessment.Assessment
	for _, readings := range in.Stretches {
		if len(readings) == 0 {
			judged = append(judged, nil)
			continue
		}
		f, err := Fit(r, gathered(r, readings))
		if err != nil {
			return nil, fmt.Errorf("the readings around repairs: %w", err)
		}
		judged = append(judged, f.Assessment)
	}
	var repairs []page.Repair
	for i, done := range in.Repairs {
		repairs = append(repairs, page.Repair{Time: done.Time, Text: done.Text, Before: judged[i], After: judged[i+1]})
	}
	return repairs, nil
}

// Write writes the page. The error is the writer's, or says which picture could not be drawn.
func (p *Report) Write(w io.Writer) error {
	content, err := p.content()
	if err != nil {
		return err
	}
	_, err = w.Write(content)
	return err
}

// noSum stands in the place of the page's sum while it is computed.
var noSum = strings.Repeat("0", 2*sha256.Size)

// content returns the page, with its sum.
func (p *Report) content() ([]byte, error) {
	var b bytes.Buffer
	if err := page.Assessment(&b, p.Assessment, p.page); err != nil {
		return nil, err
	}
	at := bytes.LastIndex(b.Bytes(), []byte(noSum))
	sum := sha256.Sum256(b.Bytes())
	copy(b.Bytes()[at:], hex.EncodeToString(sum[:]))
	return b.Bytes(), nil
}

// parseRun reads a run file with the profiles of its probes.
func parseRun(text []byte, own []Profile) (*run.Run, error) {
	r, err := runfile.Parse("the run file inside", text)
	if err != nil {
		return nil, err
	}
	_, err = profile.EquipWith(r, func(name string) (*profile.Profile, error) {
		for _, p := range own {
			if p.Name == name {
				return profile.Parse(name, []byte(p.Text))
			}
		}
		if profile.Own(name) {
			return nil, fault.Fault{File: name, Text: "is not in the report"}
		}
		return profile.Load(name, "")
	})
	return r, err
}
