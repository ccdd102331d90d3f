package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/table"
)

func newPredict() *cobra.Command {
	var step string
	var to outputs
	var asJSON bool
	c := &cobra.Command{
		Use:   "predict RUN",
		Short: "Compute what a run should show in a step, and what would exceed a rating",
		Long: `Predict solves the run as its file states it: volts and currents of supplies, feeds
and every pixel, and a warning for each value beyond a rating or limit.
Without --step it takes the design step, or the only step.`,
		Example: `  ohmkeep predict shelf.toml --step "white 5 %"
  ohmkeep predict shelf.toml --picture volts.png
  ohmkeep predict shelf.toml --step dark --json`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := to.check(args[0]); err != nil {
				return err
			}
			r, i, err := loadStep(args[0], step)
			if err != nil {
				return err
			}
			p, err := prediction.Make(r.Run, r.Steps[i])
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if err := to.draw(c, func() *chart.Picture { return chart.Predicted(p, chart.Wide) }); err != nil {
				return err
			}
			if asJSON {
				return jsondoc.Prediction(c.OutOrStdout(), p)
			}
			return table.Prediction(c.OutOrStdout(), p, styleOf(c.OutOrStdout()))
		},
	}
	c.Flags().StringVar(&step, "step", "", "the step, by its name")
	to.flags(c, "", "draw the volts along the run into this .png or .svg file")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	_ = c.RegisterFlagCompletionFunc("step", completeSteps)
	return c
}

// loadStep loads a run and finds the step named, by its index, or else the design
// step, or else the only one.
func loadStep(file, name string) (*runWithProfiles, int, error) {
	r, err := loadRun(file)
	switch {
	case err != nil:
		return nil, 0, err
	case name != "":
		_, err := stepNamed(r.Run, name)
		return r, r.StepIndex(name), err
	case r.Limits.DesignStep >= 0:
		return r, r.Limits.DesignStep, nil
	case len(r.Steps) == 1:
		return r, 0, nil
	}
	return nil, 0, fault.Fault{File: r.File, Key: "--step", Text: "which step? the run file names no design step",
		Hint: "known: " + strings.Join(stepNames(r.Run), ", ")}
}
