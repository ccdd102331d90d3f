package cli

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/run/conductor"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/table"
)

// remedyFlags is the flags that repair and limit share.
type remedyFlags struct {
	step, wire       string
	far, watts, data float64
	asJSON           bool
	source
	to outputs
}

func (w *remedyFlags) flags(c *cobra.Command) {
	c.Flags().StringVar(&w.step, "step", "", "the load to carry, by a step's name (default: the design step)")
	c.Flags().Float64Var(&w.far, "far-metres", 0, "length of a new feed, one way (default: along the strip and the near feed's again)")
	c.Flags().StringVar(&w.wire, "wire", "", `conductor of new feeds, such as "14 AWG" (default: as the nearest feed)`)
	c.Flags().Float64Var(&w.watts, "joint-watts", 0, "heat that a joint may make (default 0.25 W, common practice)")
	c.Flags().Float64Var(&w.data, "data-volts", 0, "a high at the output that drives the first pixel (default 5 V)")
	w.source.flags(c)
	c.Flags().BoolVar(&w.asJSON, "json", false, "print JSON")
	_ = c.RegisterFlagCompletionFunc("step", completeSteps)
}

// options checks the flags' values.
func (w *remedyFlags) options(c *cobra.Command) (repair.Options, error) {
	for _, f := range []struct {
		name  string
		value float64
		most  float64
	}{{"far-metres", w.far, 1000}, {"joint-watts", w.watts, 1000}, {"data-volts", w.data, 60}} {
		given := c.Flags().Changed(f.name)
		if math.IsNaN(f.value) || given && (f.value <= 0 || f.value > f.most) {
			return repair.Options{}, callFault(c, "--%s is above 0 and at most %g", f.name, f.most)
		}
	}
	o := repair.Options{FarMetres: w.far, Conductor: w.wire}
	o.Limits.JointWatts, o.Limits.DataVolts = w.watts, w.data
	if w.wire != "" {
		if _, err := conductor.Parse(w.wire, "", ""); err != nil {
			return o, fmt.Errorf("--wire: %w", err)
		}
	}
	return o, nil
}

// basis returns the run as its file states it or, with readings, as fitted to them.
func (w *remedyFlags) basis(c *cobra.Command, r *runWithProfiles, files []string) (func(step int) repair.Basis, error) {
	if len(files) == 0 && w.store == "" {
		return func(int) repair.Basis { return repair.Stated(r.Run) }, nil
	}
	readings, err := w.readings(c, r, files)
	if err != nil {
		return nil, err
	}
	defer working(c, fittingLabel, "").done()
	est, err := estimate.Make(r.Run, readings)
	if err != nil {
		return nil, err
	}
	a, err := judge.FromEstimate(r.Run, est)
	if err != nil {
		return nil, err
	}
	return func(step int) repair.Basis { return repair.Fitted(r.Run, est, a, step) }, nil
}

const whatIfStatus = `Exit status: 0 the step asked holds as wired, 1 it breaks a limit, 3 the readings do not
settle it, 2 the input is wrong.`

func newRepair() *cobra.Command {
	var w remedyFlags
	c := &cobra.Command{
		Use:   "repair RUN [READINGS.csv]",
		Short: "Weigh what could be done about a run, and what each repair wins",
		Long: `Repair solves the run with each repair in place: joints remade, far ends or the middle
fed, feeds renewed, thicker or shorter, the supply trimmed, the limiter lowered; each alone
and the best pair. With readings it takes the resistances that they show, and their
intervals; without, those that the run file states. Each is held against the limits of
colour, brightness, feeds, joints, supplies and data in the design step or --step; what
meets them all stands first, the cheapest of it first.

` + whatIfStatus,
		Example: `  ohmkeep repair shelf.toml readings.csv
  ohmkeep repair shelf.toml --step "white 20 %" --far-metres 9 --wire "14 AWG"
  ohmkeep repair shelf.toml readings.csv --picture repairs.png`,
		Args:              argsFrom(1, "RUN", "[READINGS.csv]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			o, err := w.options(c)
			if err != nil {
				return err
			}
			if err := w.to.check(append(args, w.store)...); err != nil {
				return err
			}
			r, i, err := loadStep(args[0], w.step)
			if err != nil {
				return err
			}
			step := r.Steps[i]
			known, err := w.basis(c, r, args[1:])
			if err != nil {
				return err
			}
			p, err := during(c, "weighing repairs", func() (*repair.Plan, error) { return repair.Make(known(i), step, o) })
			if err != nil {
				return fmt.Errorf("%s: step %q: %w", args[0], step.Name, err)
			}
			if err := w.to.draw(c, func() *chart.Picture {
				return chart.Repairs(p, chart.Wide)
			}); err != nil {
				return err
			}
			if w.asJSON {
				err = jsondoc.Repairs(c.OutOrStdout(), p)
			} else {
				err = table.Repair(c.OutOrStdout(), p, styleOf(c.OutOrStdout()))
			}
			if err != nil {
				return err
			}
			return verdictStatus(p.AsWired.Verdict)
		},
	}
	w.flags(c)
	w.to.flags(c, "", "draw what each repair wins into this .png or .svg file")
	return c
}

func newLimit() *cobra.Command {
	var w remedyFlags
	c := &cobra.Command{
		Use:   "limit RUN [READINGS.csv]",
		Short: "Compute the highest current limit at which everything holds, and which limit is reached first",
		Long: `Limit finds, for the colour of each step, the level up to which colour, brightness, feed
drop, joint heat, fuse, wire, supply (each of these three at 80 % of its rating) and data
level all hold, as wired and after each repair, and the current that a controller's limiter
may be set to.
With readings it takes the resistances that they show, and their intervals.

` + whatIfStatus,
		Example: `  ohmkeep limit shelf.toml
  ohmkeep limit shelf.toml readings.csv
  ohmkeep limit shelf.toml --step "white 20 %" --json`,
		Args:              argsFrom(1, "RUN", "[READINGS.csv]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			o, err := w.options(c)
			if err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			design := r.Limits.DesignStep
			if w.step != "" {
				step, err := stepNamed(r.Run, w.step)
				if err != nil {
					return err
				}
				if _, level := loadlimit.MixOf(step); level == 0 {
					return fmt.Errorf("%s: step %q: %w", args[0], step.Name, repair.ErrDark)
				}
				design = r.StepIndex(w.step)
			}
			known, err := w.basis(c, r, args[1:])
			if err != nil {
				return err
			}
			l, err := during(c, "raising the level", func() (*repair.Loads, error) { return repair.Rate(known, design, o) })
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if w.asJSON {
				err = jsondoc.Limits(c.OutOrStdout(), l)
			} else {
				err = table.Limit(c.OutOrStdout(), l, styleOf(c.OutOrStdout()))
			}
			if err != nil {
				return err
			}
			return verdictStatus(l.Verdict())
		},
	}
	w.flags(c)
	return c
}
