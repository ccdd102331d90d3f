package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/report"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/table"
	"ohmkeep/internal/show/wording"
)

func newAssess() *cobra.Command {
	var element string
	var from source
	var to outputs
	var asJSON bool
	c := &cobra.Command{
		Use:   "assess RUN [READINGS.csv]",
		Short: "Fit readings to a run and judge its joints, feeds and reels",
		Long: `Assess computes the run's real resistances from readings and compares each with its
limit: pass, fail, or unproven with what to read next.

` + storeHelp + `

--report writes a page for the owner, with the run file and the readings inside;
ohmkeep verify computes it again. Of a store it shows the run before and after each repair
that ohmkeep note recorded.

--explain lists the readings that the verdict on one element depends on, and what it
would be without them.

Exit status: 0 everything passes, 1 something fails, 3 nothing fails but something is
unproven, 2 the input is wrong.`,
		Example: `  ohmkeep assess shelf.toml readings.csv
  ohmkeep assess shelf.toml readings.csv --report shelf.html
  ohmkeep assess shelf.toml readings.csv --explain left-right
  ohmkeep assess shelf.toml --store shelf.db --since 2026-03-01T00:00:00Z --json`,
		Args:              argsFrom(1, "RUN", "[READINGS.csv]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := to.check(append(args, from.store)...); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			from.forReport = to.page != ""
			readings, err := from.readings(c, r, args[1:])
			if err != nil {
				return err
			}
			a, x, known, err := assess(c, r, readings, element)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if to.page != "" {
				p, err := during(c, "making the report", func() (*report.Report, error) { return reportOf(args[0], r, readings, &from, known) })
				if err != nil {
					return err
				}
				if err := to.writePage(c, p.Write); err != nil {
					return err
				}
			}
			if err := to.draw(c, func() *chart.Picture { return chart.Resistances(wording.WorstFirst(a.Elements), chart.Wide) }); err != nil {
				return err
			}
			switch {
			case asJSON:
				err = jsondoc.Assessment(c.OutOrStdout(), a, x)
			case x != nil:
				err = table.Explanation(c.OutOrStdout(), x, a.Fit, styleOf(c.OutOrStdout()))
			default:
				err = table.Assessment(c.OutOrStdout(), a, styleOf(c.OutOrStdout()))
			}
			if err != nil {
				return err
			}
			return verdictStatus(a.Verdict)
		},
	}
	to.flags(c, "write a self-contained HTML report with pictures into this file", "draw the resistances against their limits into this .png or .svg file")
	from.flags(c)
	c.Flags().StringVar(&element, "explain", "", "tell what the verdict on this joint, feed or reel rests on (such as west-north, or joint:west-north)")
	_ = c.RegisterFlagCompletionFunc("explain", completeElements)
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// fittingLabel is the work whose progress is shown while a run is fitted.
const fittingLabel = "fitting the readings"

// assess judges a run by its readings, and explains one element if it is named; without one it also
// returns the fit.
func assess(c *cobra.Command, r *runWithProfiles, readings []reading.Reading, element string) (*assessment.Assessment, *assessment.Explanation, *report.Fitted, error) {
	if !c.Flags().Changed("explain") {
		f, err := during(c, fittingLabel, func() (*report.Fitted, error) { return report.Fit(r.Run, readings) })
		if err != nil {
			return nil, nil, nil, err
		}
		return f.Assessment, nil, f, nil
	}
	if err := checkElement(r.Run, element); err != nil {
		return nil, nil, nil, err
	}
	defer working(c, fittingLabel, "").done()
	a, x, err := judge.Explain(r.Run, readings, element)
	return a, x, nil, err
}

// verdictStatus is the exit status of a verdict.
func verdictStatus(v assessment.Verdict) error {
	switch v {
	case assessment.Fail:
		return status(Fails)
	case assessment.Unproven:
		return status(Unproven)
	}
	return nil
}
