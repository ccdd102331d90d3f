package report

import (
	"io"

	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/show/wording"
)

// LimitJSON writes what a run bears as one JSON object on one line. The error is the
// writer's.
func LimitJSON(w io.Writer, l *repair.Loads) error {
	effects := l.Effects()
	safe, decides := repair.Limiter(effects)
	return write(w, "limits", object{
		{"schema", schema}, {"run", wording.RunName(l.Basis.Run)}, {"from_readings", l.Basis.FromReadings}, {"verdict", l.Verdict()},
		{"limiter_amps", numberJSON(safe, l.Basis.FromReadings)}, {"decides", decidesJSON(l, decides)},
		{"colours", list(l.Colours, func(c repair.Load) any {
			return object{{"steps", c.Mix.Name}, {"as_wired", effectJSON(c.Effect, l.Basis.FromReadings)}}
		})},
		{"after", list(l.After, func(c repair.Change) any {
			safe, decides := repair.Limiter(c.Colours)
			return object{{"repair", repairJSON(c.Repair)}, {"limiter_amps", numberJSON(safe, false)}, {"decides", decidesJSON(l, decides)},
				{"colours", list(c.Colours, func(e repair.Effect) any { return effectJSON(e, false) })}}
		})},
		{"assumed", list(l.Assumed, func(s string) any { return s })},
	})
}

func decidesJSON(l *repair.Loads, colour int) any {
	if colour < 0 {
		return nil
	}
	return l.Colours[colour].Mix.Name
}
