package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// manualGuide is a survey.Guide that asks a person at the terminal to move the leads.
type manualGuide struct {
	in    *bufio.Reader
	out   io.Writer
	run   *run.Run
	steps int
	store *store.Store

	step   int
	visit  survey.Visit
	typing map[run.Quantity]bool // quantities that are typed, not measured
	count  int
	taken  []visited // in the step at hand
}

// visited is a reading and the visit at which it was taken.
type visited struct {
	survey.Visit
	reading reading.Reading
}

// typed returns a probe for each quantity that no other probe can read; a person types
// its values. The meter is the first one of the run that measures the quantity.
func (g *manualGuide) typed(s *survey.Survey, meters []run.Meter) []survey.Probe {
	g.typing = map[run.Quantity]bool{}
	var probes []survey.Probe
	for _, v := range s.Unreachable() {
		if _, seen := g.typing[v.Quantity]; seen {
			continue
		}
		at := slices.IndexFunc(meters, func(m run.Meter) bool { return m.Measures(v.Quantity) })
		g.typing[v.Quantity] = at >= 0
		if at < 0 {
			fmt.Fprintf(g.out, "no %s is asked for: the run file describes no meter of your own for it\n", v.Quantity)
			continue
		}
		probes = append(probes, survey.Probe{Device: (*manualMeter)(g),
			Probe: run.Probe{Name: "typed", Meter: at, Channels: []run.ProbeChannel{{Quantity: v.Quantity}}}})
	}
	return probes
}

// errDone ends a survey whose input has ended.
var errDone = errors.New("the answers have ended")

// ask prints a question and returns the answer; survey.Skip for "s".
func (g *manualGuide) ask(format string, args ...any) (string, error) {
	fmt.Fprintf(g.out, format, args...)
	line, err := g.in.ReadString('\n')
	line = strings.TrimSpace(line)
	switch {
	case err == io.EOF && line != "": // the last line may lack its end
	case err != nil:
		fmt.Fprintln(g.out)
		if err == io.EOF {
			err = errDone
		}
		return "", err
	}
	if line == "s" {
		return "", survey.Skip{}
	}
	return line, nil
}

// undo withdraws the last reading of the step and returns to its visit. If the step has no
// reading, undo prints that and returns nil.
func (g *manualGuide) undo(ctx context.Context) error {
	n := len(g.taken) - 1
	if n < 0 {
		fmt.Fprintln(g.out, "    nothing was taken in this step that could be taken out")
		return nil
	}
	last := g.taken[n]
	if _, _, err := g.store.Withdraw(ctx, g.run.Name, []reading.Reading{last.reading}, "in the survey", time.Now()); err != nil {
		return err
	}
	g.taken = g.taken[:n]
	g.count--
	fmt.Fprintf(g.out, "    withdrawn: %s\n", line(last.reading))
	return survey.Back{To: last.Visit}
}

func (g *manualGuide) Step(_ context.Context, step run.Step) error {
	g.step++
	g.taken = nil
	_, err := g.ask("\nStep %d of %d: make the run show %q, let it settle, then Enter (s = leave out): ", g.step, g.steps, step.Name)
	return err
}

func (g *manualGuide) Reach(ctx context.Context, v survey.Visit) error {
	g.visit = v
	if g.typing[v.Quantity] {
		return nil // the question for the value says where
	}
	for {
		answer, err := g.ask("  leads on %v, then Enter (s = leave out): ", v)
		if err == nil && answer == "u" {
			if err = g.undo(ctx); err == nil {
				continue
			}
		}
		return err
	}
}

func (g *manualGuide) Took(ctx context.Context, x reading.Reading) error {
	added, _, err := g.store.Append(ctx, g.run.Name, "survey", []reading.Reading{x})
	if err != nil {
		return err
	}
	g.count += added
	if v := g.visit; added > 0 && v.From == x.From && v.To == x.To && v.Quantity == x.Quantity {
		g.taken = append(g.taken, visited{v, x})
	}
	fmt.Fprintf(g.out, "    %s %s: %s %s\n", x.From, x.To, x.Text, x.Unit)
	return nil
}

func (g *manualGuide) Missed(v survey.Visit, why string) {
	fmt.Fprintf(g.out, "    %v: left out, %s\n", v, why)
}

// manualMeter is an instrument whose readings a person types.
type manualMeter manualGuide

func (t *manualMeter) Identity() string              { return "" }
func (t *manualMeter) Counters() instrument.Counters { return instrument.Counters{} }
func (t *manualMeter) Close() error                  { return nil }
func (t *manualMeter) Next(context.Context) (reading.Sample, error) {
	return reading.Sample{}, instrument.ErrAsked
}

// Measure asks for a value, with or without its unit, until the answer is valid.
func (t *manualMeter) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	g := (*manualGuide)(t)
	unit := [...]string{"V", "A", "degC"}[q]
	for {
		answer, err := g.ask("  %v, in %s (s = leave out): ", g.visit, unit)
		if errors.Is(err, survey.Skip{}) {
			return reading.Sample{Reading: reading.Reading{Quantity: q, Quality: reading.Faulty}, Channel: channel, Fault: "as asked"}, nil
		}
		if err == nil && answer == "u" {
			if err = g.undo(ctx); err == nil {
				continue
			}
		}
		if err != nil {
			return reading.Sample{}, err
		}
		text, stated := numberAndUnit(answer)
		if stated == "" {
			stated = unit
		}
		value, err := reading.Value(q, text, stated)
		if err != nil {
			fmt.Fprintf(g.out, "    %v\n", err)
			continue
		}
		return reading.Sample{Reading: reading.Reading{Time: time.Now(), Quantity: q, Text: text, Unit: stated, Value: value}, Channel: channel}, nil
	}
}

// numberAndUnit splits an answer after its last digit; the unit "" means that none was given.
func numberAndUnit(answer string) (number, unit string) {
	end := strings.LastIndexAny(answer, "0123456789.") + 1
	if end == 0 {
		return answer, ""
	}
	return answer[:end], strings.TrimSpace(answer[end:])
}
