package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/table"
)

func newColour() *cobra.Command {
	var step, at string
	var from source
	var to outputs
	var asJSON bool
	c := &cobra.Command{
		Use:     "colour RUN [READINGS.csv]",
		Aliases: []string{"color"},
		Short:   "Show where a run dims or changes colour in a step, and what causes it",
		Long: `Colour computes what people see of a run in a step: whether its far parts are dimmer,
off colour or both, where along the run that exceeds the limits, and how much of it is
caused by the supply's trim, each feed, each joint and the copper of the reels. With
readings, from a CSV file, standard input as "-" or a store with --store, it takes the
fitted run and adds 95 % intervals; without, the run as its file states it.
Without --step it takes the design step, or the only step.

Limits are colour_shift and dimming_percent in the run file, and 0.004 and 30 % where
it has none. Exit status: 0 colour and brightness hold, 1 a limit is exceeded, 3 the
readings are not enough to decide, 2 the input is wrong.`,
		Example: `  ohmkeep colour shelf.toml --step "white 5 %"
  ohmkeep colour shelf.toml readings.csv --picture colour.png
  ohmkeep colour shelf.toml --at left.end --json`,
		Args:              argsFrom(1, "RUN", "[READINGS.csv]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := to.check(append(args, from.store)...); err != nil {
				return err
			}
			r, i, err := loadStep(args[0], step)
			if err != nil {
				return err
			}
			spot, err := pixelAsked(r.Run, at)
			if err != nil {
				return err
			}
			e, err := fitted(c, r, args[1:], from)
			if err != nil {
				return err
			}
			a, err := during(c, "weighing what dims the run", func() (*colourloss.Appearance, error) { return colourloss.Make(r.Run, i, e, spot) })
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if err := to.draw(c, func() *chart.Picture { return chart.Seen(a, chart.Wide) }); err != nil {
				return err
			}
			if asJSON {
				err = jsondoc.Colour(c.OutOrStdout(), a)
			} else {
				err = table.Colour(c.OutOrStdout(), a, styleOf(c.OutOrStdout()))
			}
			if err != nil {
				return err
			}
			return verdictStatus(a.Verdict)
		},
	}
	c.Flags().StringVar(&step, "step", "", "the step, by its name")
	c.Flags().StringVar(&at, "at", "", "the pixel to look into, such as west.end; the worst one where it is left out")
	to.flags(c, "", "draw the run as people see it into this .png or .svg file")
	from.flags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	_ = c.RegisterFlagCompletionFunc("step", completeSteps)
	return c
}

// fitted fits the run to the readings that the flags select; nil if they select none.
func fitted(c *cobra.Command, r *runWithProfiles, files []string, from source) (*estimate.Estimate, error) {
	if len(files) == 0 && from.store+from.db == "" {
		return nil, nil
	}
	readings, err := from.readings(c, r, files)
	if err != nil {
		return nil, err
	}
	e, err := during(c, fittingLabel, func() (*estimate.Estimate, error) { return estimate.Make(r.Run, readings) })
	if err != nil {
		return nil, fmt.Errorf("%s: %w", r.File, err)
	}
	if !e.Fit.Converged {
		return nil, fmt.Errorf("%s: the fit to its readings found no answer (ohmkeep assess tells more)", r.File)
	}
	return e, nil
}

// pixelAsked finds the pixel that --at names; nil where it is left out.
func pixelAsked(r *run.Run, name string) (*run.Place, error) {
	if name == "" {
		return nil, nil
	}
	at, err := r.Place(name)
	wrong := fault.Fault{Text: fmt.Sprintf("%q is not a pixel", name), Hint: "such as " + r.Reels[0].Name + ".end"}
	switch {
	case errors.As(err, &wrong):
	case err != nil:
		return nil, err
	case at.Kind == run.AtReel:
		return &at, nil
	}
	wrong.File, wrong.Key = r.File, "--at"
	return nil, wrong
}
