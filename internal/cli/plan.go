package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/table"
)

func newPlan() *cobra.Command {
	var meter string
	var asJSON bool
	c := &cobra.Command{
		Use:   "plan RUN",
		Short: "List the fewest readings that settle every joint and feed, in walking order",
		Long: `Plan says before anybody climbs what to read: the fewest steps and points after which
every joint and feed can be told to pass or fail with the meters of the run file, and how
many milliohms they will resolve at each. Points come along the run; each step is set
once, because changing it is taken to be slower than walking. What cannot be settled is
said with why, and with the meter or step that would.

More readings than these make a wrong one stand out; survey asks for those.

Exit status: 0 everything can be settled, 3 something cannot, 2 the input is wrong.`,
		Example: `  ohmkeep plan shelf.toml
  ohmkeep plan shelf.toml --meter bench
  ohmkeep plan shelf.toml --json`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			meters, err := metersAsked(r.Run, meter)
			if err != nil {
				return err
			}
			p, err := during(c, "weighing readings", func() (*plan.Plan, error) { return plan.Make(r.Run, meters) })
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if asJSON {
				err = jsondoc.Plan(c.OutOrStdout(), p)
			} else {
				err = table.Plan(c.OutOrStdout(), p, styleOf(c.OutOrStdout()))
			}
			if err == nil && !p.Settled() {
				err = status(Unproven)
			}
			return err
		},
	}
	c.Flags().StringVar(&meter, "meter", "", "read with this meter of the run file alone")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	_ = c.RegisterFlagCompletionFunc("meter", completeMeters)
	return c
}

// metersAsked gives the meter named, or all that can be carried about.
func metersAsked(r *run.Run, name string) ([]int, error) {
	if name == "" {
		return nextreading.CarriedMeters(r), nil
	}
	if i := r.MeterIndex(name); i >= 0 {
		return []int{i}, nil
	}
	var names []string
	for _, m := range r.Meters {
		names = append(names, m.Name)
	}
	return nil, fault.Fault{File: r.File, Key: "--meter", Text: fmt.Sprintf("no meter is named %q", name), Hint: fault.Suggest(name, names)}
}

// completeMeters offers the meters of the run file named as first argument.
func completeMeters(_ *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	var names []string
	if len(args) > 0 {
		if r, err := runfile.Load(args[0]); err == nil {
			for _, m := range r.Meters {
				if strings.HasPrefix(m.Name, begun) {
					names = append(names, m.Name)
				}
			}
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}
