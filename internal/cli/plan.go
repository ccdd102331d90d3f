package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/page"
	"ohmkeep/internal/show/sheet"
	"ohmkeep/internal/show/table"
)

func newPlan() *cobra.Command {
	var meter, sheetFile string
	var asJSON, force bool
	c := &cobra.Command{
		Use:   "plan RUN",
		Short: "List the fewest readings that settle every joint and feed, in walking order",
		Long: `Plan lists before anybody climbs what to read: the fewest steps and points with which
every joint and feed passes or fails by the meters of the run file, and how many
milliohms they resolve at each. Points are in the order of the run; each step is set
once, because changing it is assumed to be slower than walking. What cannot be decided
is listed with the reason, and with the meter or step that would decide it.

--sheet writes what is to be read as a table to fill in: a CSV file, which assess reads
once its values are typed in, and beside it the same as an HTML page to print.

More readings than these make a wrong one stand out; survey asks for those.

Exit status: 0 everything can be settled, 3 something cannot, 2 the input is wrong.`,
		Example: `  ohmkeep plan shelf.toml
  ohmkeep plan shelf.toml --meter bench
  ohmkeep plan shelf.toml --sheet sheet.csv
  ohmkeep plan shelf.toml --json`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			sheets := sheetOutputs(sheetFile, force, args[0])
			for _, o := range sheets {
				if err := o.Check(); err != nil {
					return err
				}
			}
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
			if err := writeSheets(c, p, sheets); err != nil {
				return err
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
	c.Flags().StringVar(&sheetFile, "sheet", "", "write the readings as a table to fill in into this CSV file, and beside it as a page to print")
	addForce(c, &force)
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	_ = c.RegisterFlagCompletionFunc("meter", completeMeters)
	return c
}

// sheetOutputs are the CSV file and the page of a sheet; none for no name.
func sheetOutputs(path string, force bool, runFile string) []file.Output {
	if path == "" {
		return nil
	}
	page := strings.TrimSuffix(path, filepath.Ext(path)) + ".html"
	return []file.Output{{Path: path, Kind: file.Readings, Force: force, Inputs: []string{runFile}},
		{Path: page, Kind: file.Page, Force: force, Inputs: []string{runFile}}}
}

// writeSheets writes a plan's readings into the files of a sheet and prints their names.
func writeSheets(c *cobra.Command, p *plan.Plan, to []file.Output) error {
	if len(to) == 0 {
		return nil
	}
	if err := to[0].Write(func(w io.Writer) error { return sheet.CSV(w, p) }); err != nil {
		return err
	}
	err := to[1].Write(func(w io.Writer) error { return page.Sheet(w, p, filepath.Base(to[0].Path), pageOptions()) })
	if err == nil {
		fmt.Fprintf(c.ErrOrStderr(), "sheet: %s, to print: %s\n", to[0].Path, to[1].Path)
	}
	return err
}

// metersAsked returns the meter named, or all portable meters.
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
