package cli

import (
	"bufio"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/probe"
)

func newSurvey() *cobra.Command {
	var to string
	var steps []string
	c := &cobra.Command{
		Use:   "survey RUN",
		Short: "Walk the load steps and take the readings, by probe or typed in",
		Long: `Survey takes the readings of a run step by step. In each step it reads the fixed probes of
the run file, tells you where to put the leads of the carried meter, and asks for values
that no probe can read. Every reading is stored at once. The answer "s" skips a place or
step; "u" removes the last reading of the step and asks for it again; end of input or
Ctrl-C ends the survey, and the readings so far are kept.

The run's low voltage does not shock but its current burns: no rings, no bridged leads.
To put a meter in series with a feed, disconnect the supply first; a clamp is safer.`,
		Example: `  ohmkeep survey shelf.toml --store shelf.db
  ohmkeep survey shelf.toml --store shelf.db --step dark --step "white 5 %"`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, to); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			return runSurvey(c, r, args[0], to, steps)
		},
	}
	c.Flags().StringVar(&to, "store", "", "the store, a file; made where it does not exist")
	c.Flags().StringArrayVar(&steps, "step", nil, "walk only this step; may be given again")
	_ = c.RegisterFlagCompletionFunc("step", completeSteps)
	return c
}

func runSurvey(c *cobra.Command, r *runWithProfiles, file, to string, names []string) error {
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
	opener := &probe.Opener{Dir: filepath.Dir(file)}
	for i, p := range r.Probes {
		if p.Port == probe.Simulated || strings.HasPrefix(p.Port, probe.Transcript) {
			return fault.Fault{File: file, Key: "probe " + p.Name + ": port", Text: p.Port + " measures nothing", Hint: "a survey reads devices"}
		}
		device, err := opener.Open(c.Context(), p, r.profiles[i], instrument.Options{})
		if err != nil {
			return fmt.Errorf("probe %s: %w", p.Name, err)
		}
		s.Probes = append(s.Probes, survey.Probe{Probe: p, Device: device})
	}
	kept, err := store.Open(to)
	if err != nil {
		return err
	}
	g := &manualGuide{in: bufio.NewReader(c.InOrStdin()), out: c.ErrOrStderr(), run: r.Run, steps: len(steps), store: kept}
	s.Probes = append(s.Probes, g.typed(s, r.Meters[:r.own])...)
	err = s.Take(c.Context(), g)
	if errors.Is(err, errDone) {
		err = nil
	}
	if closing := kept.Close(); err == nil {
		err = closing
	}
	fmt.Fprintf(c.OutOrStdout(), "%s stored in %s\n", count(g.count, "reading"), to)
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
