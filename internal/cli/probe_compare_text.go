package cli

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"ohmkeep/internal/instrument/compare"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// printComparison prints what the pairs amount to, range by range, and the meter with its corrections.
func printComparison(c *cobra.Command, r *runWithProfiles, both [2]*compared, pairs []compare.Pair) error {
	results := compare.Meters(both[1].meter, both[0].meter, pairs)
	if len(results) == 0 {
		fmt.Fprintln(c.ErrOrStderr(), "no pair of values was read")
		return status(Unproven)
	}
	out, worst := c.OutOrStdout(), Passes
	corrected := both[0].meter
	corrected.Ranges = slices.Clone(corrected.Ranges)
	better := false
	for _, x := range results {
		worst = printResult(out, both, x, worst)
		if x.Line && x.Better {
			better, corrected.Ranges[x.At] = true, x.Corrected
		}
	}
	if better {
		printCorrected(out, r, both, corrected)
	}
	if worst != Passes {
		return status(worst)
	}
	return nil
}

// printResult prints the comparison on one range, and returns the exit status with it.
func printResult(out io.Writer, both [2]*compared, x compare.Result, worst int) int {
	unit := reading.Unit(x.Range.Quantity)
	fmt.Fprintf(out, "%s against %s, range to %s: %s, %s to %s %s\n", both[0].name, both[1].name, rangeEnd(x.Range), count(x.Pairs, "pair"), digits(x.Lowest), digits(x.Highest), unit)
	switch {
	case x.Excess > 0:
		worst = Fails
		fmt.Fprintf(out, "  they differ by up to %s %s more than the accuracies of both allow\n", digits(x.Excess), unit)
	case worst == Passes && !x.Line:
		worst = Unproven
		fallthrough
	default:
		fmt.Fprintln(out, "  they agree within the accuracies of both")
	}
	if !x.Line {
		fmt.Fprintln(out, "  not enough readings to tell gain from offset: read three loads or more, far apart")
		return worst
	}
	fmt.Fprintf(out, "  gain   %s (%s to %s)\n  offset %s (%s to %s) %s\n  scatter of a pair %s %s\n", digits(x.Gain.Value), digits(x.Gain.Low), digits(x.Gain.High),
		digits(x.Offset.Value), digits(x.Offset.Low), digits(x.Offset.High), unit, digits(x.Scatter), unit)
	if !x.Better {
		fmt.Fprintf(out, "  no correction is offered: %s is not accurate enough to leave %s less than its own limits\n", both[1].name, both[0].name)
	}
	return worst
}

// printCorrected prints the compared meter for the run file, with its corrections.
func printCorrected(out io.Writer, r *runWithProfiles, both [2]*compared, m run.Meter) {
	if r.MeterIndex(m.Name) < len(r.OwnMeters()) {
		fmt.Fprintf(out, "\n# In place of this meter in the run file; it was compared with %s.\n", both[1].name)
	} else {
		m.Name = both[0].name
		fmt.Fprintf(out, "\n# For the run file; it was compared with %s. Write meter = %q into [[probe]] %[2]q.\n", both[1].name, m.Name)
	}
	fmt.Fprintf(out, "[[meter]]\nname = %q\nerrors = %q\n", m.Name, map[bool]string{true: "each", false: "common"}[m.Each])
	if m.Lead > 0 {
		fmt.Fprintf(out, "lead_metres = %s\n", digits(m.Lead))
	}
	for _, g := range m.Ranges {
		fmt.Fprintf(out, "  [[meter.range]]\n  quantity = %q\n", g.Quantity)
		if !math.IsInf(g.UpTo, 1) {
			fmt.Fprintf(out, "  up_to = %s\n", digits(g.UpTo))
		}
		fmt.Fprintf(out, "  resolution = %s\n  percent = %s\n  counts = %s\n", digits(g.Resolution), digits(roundUp(100*g.Fraction)), digits(roundUp(g.Counts)))
		if g.KnownGain != 0 || g.KnownOffset != 0 {
			fmt.Fprintf(out, "  gain = %s\n  offset = %s\n", digits(1+g.KnownGain), digits(g.KnownOffset))
		}
	}
}

// digits writes a number with at most five significant digits.
func digits(x float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 5, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// roundUp rounds a limit up to two decimals.
func roundUp(x float64) float64 { return math.Ceil(100*x-1e-9) / 100 }

func rangeEnd(g run.Range) string {
	if math.IsInf(g.UpTo, 1) {
		return "any value"
	}
	return digits(g.UpTo) + " " + reading.Unit(g.Quantity)
}
