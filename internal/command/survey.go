package command

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/survey"
)

func newSurvey() *cobra.Command {
	var to string
	var steps []string
	c := &cobra.Command{
		Use:   "survey RUN",
		Short: "Walk the load steps and take the readings, by probe or typed in",
		Long: `Survey walks the steps of a run. In each it reads the probes of the run file that have
their place, leads you with the carried meter from point to point, and asks for what
no probe can read. Every reading is stored at once. An answer of "s" leaves a place or
step out; end of input or Ctrl-C ends the survey, and what was taken stays.

The run's low voltage does not shock but its current burns: no rings, no bridged leads.
To put a meter in series with a feed, disconnect the supply first; a clamp is safer.`,
		Example: `  ohmkeep survey shelf.toml --store shelf.db
  ohmkeep survey shelf.toml --store shelf.db --step dark --step "white 5 %"`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			return runSurvey(c, r, args[0], to, steps)
		},
	}
	c.Flags().StringVar(&to, "store", "", "the store, a file; made where it does not exist")
	c.Flags().StringArrayVar(&steps, "step", nil, "walk only this step; may be given again")
	_ = c.MarkFlagRequired("store")
	_ = c.RegisterFlagCompletionFunc("step", completeSteps)
	return c
}

func runSurvey(c *cobra.Command, r *equipped, file, to string, names []string) error {
	steps := r.Steps
	if len(names) > 0 {
		steps = nil
		for _, name := range names {
			s, err := stepNamed(r.Run, name)
			if err != nil {
				return err
			}
			steps = append(steps, s)
		}
	}
	s := &survey.Survey{Run: r.Run, Steps: steps, Visits: survey.Thorough(r.Run)}
	defer closeProbes(s)
	for i, p := range r.Probes {
		device, err := instrument.Open(c.Context(), r.profiles[i], p.Port, instrument.Options{})
		if err != nil {
			return fmt.Errorf("probe %s: %w", p.Name, err)
		}
		s.Probes = append(s.Probes, survey.Probe{Probe: p, Device: device})
	}
	kept, err := store.Open(to)
	if err != nil {
		return err
	}
	g := &person{in: bufio.NewReader(c.InOrStdin()), out: c.ErrOrStderr(), run: r.Run, steps: len(steps), store: kept}
	if by := g.typed(s); by.Channels != nil {
		s.Probes = append(s.Probes, by)
	}
	err = s.Take(c.Context(), g)
	if errors.Is(err, io.EOF) {
		err = nil // the person is done
	}
	if closing := kept.Close(); err == nil {
		err = closing
	}
	fmt.Fprintf(c.OutOrStdout(), "%d readings stored in %s\n", g.count, to)
	if g.count > 0 {
		fmt.Fprintf(c.ErrOrStderr(), "next: ohmkeep assess %s --store %s\n", file, to)
	}
	return err
}

func closeProbes(s *survey.Survey) {
	for _, p := range s.Probes {
		_ = p.Device.Close() // nothing more is wanted of it
	}
}

// person leads somebody with leads in both hands through a survey.
type person struct {
	in    *bufio.Reader
	out   io.Writer
	run   *run.Run
	steps int
	store *store.Store

	step   int
	visit  survey.Visit
	typing map[run.Quantity]bool // quantities that are typed, not measured
	count  int
}

// typed is a probe for the quantities that no other can read: what somebody types.
func (g *person) typed(s *survey.Survey) survey.Probe {
	g.typing = map[run.Quantity]bool{}
	p := survey.Probe{Probe: run.Probe{Name: "typed"}, Device: (*typist)(g)}
	for _, v := range s.Unreachable() {
		if !g.typing[v.Quantity] {
			g.typing[v.Quantity] = true
			p.Channels = append(p.Channels, run.ProbeChannel{Quantity: v.Quantity})
		}
	}
	return p
}

// ask prints a question and returns the answer; survey.Skip for "s".
func (g *person) ask(format string, args ...any) (string, error) {
	fmt.Fprintf(g.out, format, args...)
	line, err := g.in.ReadString('\n')
	line = strings.TrimSpace(line)
	if err != nil && line == "" {
		fmt.Fprintln(g.out)
		return "", io.EOF
	}
	if line == "s" {
		return "", survey.Skip{}
	}
	return line, nil
}

func (g *person) Step(_ context.Context, step run.Step) error {
	g.step++
	_, err := g.ask("\nStep %d of %d: make the run show %q, let it settle, then Enter (s = leave out): ", g.step, g.steps, step.Name)
	return err
}

func (g *person) Reach(_ context.Context, v survey.Visit) error {
	g.visit = v
	if g.typing[v.Quantity] {
		return nil // the question for the value says where
	}
	_, err := g.ask("  leads on %v, then Enter (s = leave out): ", v)
	return err
}

func (g *person) Took(ctx context.Context, x reading.Reading) error {
	added, _, err := g.store.Append(ctx, g.run.Name, "survey", []reading.Reading{x})
	if err != nil {
		return err
	}
	g.count += added
	fmt.Fprintf(g.out, "    %s %s: %s %s\n", x.From, x.To, x.Text, x.Unit)
	return nil
}

func (g *person) Missed(v survey.Visit, why string) {
	fmt.Fprintf(g.out, "    %v: left out, %s\n", v, why)
}

// typist is the person as an instrument: measures by asking.
type typist person

func (t *typist) Identity() string              { return "" }
func (t *typist) Counters() instrument.Counters { return instrument.Counters{} }
func (t *typist) Close() error                  { return nil }
func (t *typist) Next(context.Context) (instrument.Sample, error) {
	return instrument.Sample{}, instrument.ErrAsked
}

// Measure asks for a value with or without its unit until it is one.
func (t *typist) Measure(_ context.Context, channel string, q run.Quantity) (instrument.Sample, error) {
	g := (*person)(t)
	unit := [...]string{"V", "A", "degC"}[q]
	for {
		answer, err := g.ask("  %v, in %s (s = leave out): ", g.visit, unit)
		if errors.Is(err, survey.Skip{}) {
			return instrument.Sample{Channel: channel, Quantity: q, Fault: "as asked"}, nil
		}
		if err != nil {
			return instrument.Sample{}, err
		}
		text, stated, found := strings.Cut(answer, " ")
		if !found {
			stated = unit
		}
		value, err := reading.Value(q, text, strings.TrimSpace(stated))
		if err != nil {
			fmt.Fprintf(g.out, "    %v\n", err)
			continue
		}
		return instrument.Sample{Channel: channel, Quantity: q, Text: text, Unit: strings.TrimSpace(stated), Value: value, Time: time.Now()}, nil
	}
}
