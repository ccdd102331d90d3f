// Package sheet writes the readings of a plan as a table to fill in: CSV in the form that
// assess reads, whose times and values are left empty.
package sheet

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// CSV writes a row for each reading, in walking order. The error is the writer's.
func CSV(w io.Writer, p *plan.Plan) error {
	out := csv.NewWriter(w)
	_ = out.Write([]string{"time", "step", "quantity", "from", "to", "value", "unit", "meter"}) // Flush keeps its error
	for _, round := range p.Rounds {
		for _, r := range round.Reads {
			_ = out.Write([]string{"", round.Step, r.Quantity.String(), r.From, r.To, "", Unit(r), r.Meter})
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	return nil
}

// Unit returns the unit that a reading is written down in: millivolts along one
// conductor, where a meter's finest range is used.
func Unit(r assessment.Next) string {
	switch {
	case r.Quantity == run.Current:
		return "A"
	case r.Quantity == run.Temperature:
		return "degC"
	case strings.HasSuffix(r.From, "+") == strings.HasSuffix(r.To, "+"):
		return "mV"
	}
	return "V"
}
