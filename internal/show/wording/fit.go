package wording

import (
	"fmt"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Alarm returns the reason why no number of an assessment is reliable; "" without one.
func Alarm(a *assessment.Assessment) string {
	switch {
	case a.Fit.Converged:
		return ""
	case a.Unread:
		return "Nothing was read, so nothing is proven: these are the run file's own figures."
	}
	return "The calculation found no stable answer (the fit did not converge): rely on none of these numbers."
}

// Fit returns in words how well the fitted run explains the readings.
func Fit(f assessment.Fit) string {
	return fmt.Sprintf("p = %s, below 0.005 in one healthy run of 200 (chi-squared %s with %d degrees of freedom)", number.Figures(f.PValue, 2), number.Figures(f.ChiSquared, 3), f.DegreesOfFreedom)
}

// Meters returns the accuracy of each range of the meters by which readings were taken.
func Meters(a *assessment.Assessment) (out []string) {
	r := a.Run
	if r == nil {
		return nil
	}
	type use struct {
		meter    int
		quantity run.Quantity
	}
	used := map[use]bool{}
	for _, x := range a.Readings {
		used[use{r.MeterIndex(x.Meter), x.Quantity}] = true
	}
	for i, m := range r.Meters {
		how := "carried from place to place, so that its error is the same everywhere"
		if m.Each {
			how = "a sensor of its own at every place"
		}
		for _, g := range m.Ranges {
			if !used[use{i, g.Quantity}] {
				continue
			}
			unit := units[g.Quantity]
			out = append(out, fmt.Sprintf("Meter %s (%s), %s%s: within ±(%s %% of the reading + %s × %s %s).",
				printable.Short(m.Name, 40), how, g.Quantity, upTo(g.UpTo, unit), number.Figures(g.Fraction*100, 3), number.Figures(g.Counts, 3), number.Figures(g.Resolution, 3), unit))
		}
	}
	return out
}

// Assumptions returns what the numbers assume.
func Assumptions(a *assessment.Assessment) []string {
	var out []string
	r := a.Run
	if r == nil {
		return nil
	}
	out = append(out, fmt.Sprintf("Resistances are at 20 °C; the copper was at %s °C where no reading says otherwise.", number.Figures(r.Ambient, 3)))
	out = append(out, "The true value lies within the 95 % interval in 19 of 20 cases; the meters' errors are included.")
	l := r.Limits
	out = append(out, fmt.Sprintf("Limit of a joint: %s mΩ for both conductors together, unless the run file gives it one of its own.", number.Milliohms(l.JointOhms)))
	feed := fmt.Sprintf("Limit of a feed: %s %% over what its wire gives, and %s mΩ for its connectors", number.Figures(l.FeedExcess*100, 3), number.Milliohms(l.ConnectorOhms))
	if l.DesignStep >= 0 && l.DesignStep < len(r.Steps) {
		feed += fmt.Sprintf("; or a drop of %s %% of the supply's volts in step \"%s\", if that is less", number.Figures(l.FeedDrop*100, 3), printable.Short(r.Steps[l.DesignStep].Name, 40))
	}
	out = append(out, feed+".")
	out = append(out, fmt.Sprintf("Limit of a reel: %s %% over the nominal of its strip, where that is known.", number.Figures(l.ReelExcess*100, 3)))
	out = append(out, "How well the fitted run explains the readings: "+Fit(a.Fit)+". Of runs that are as fitted, a part p would agree worse by chance alone.")
	return out
}

func upTo(v float64, unit string) string {
	if v > 0 && v < 1e9 {
		return " up to " + number.Figures(v, 3) + " " + unit
	}
	return ""
}
