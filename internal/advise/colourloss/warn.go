package colourloss

import (
	"fmt"
	"strings"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/limits"
)

func (m *maker) say(format string, args ...any) {
	m.out.Warnings = append(m.out.Warnings, fmt.Sprintf(format, args...))
}

// warnRunaways warns of regulated pixels whose rising current and falling volts drive each other.
func (m *maker) warnRunaways(solver *ladder.Solver) {
	for _, r := range solver.Runaways(m.step) {
		m.say("%s", r.Text(m.run))
	}
}

// warn adds the assumptions that the run file does not state.
func (m *maker) warn() {
	if m.out.Assumed = limits.AssumedKnees(m.run, m.step); m.out.Assumed != "" {
		m.say("%s", m.out.Assumed)
	}
	var usual []string
	seen := map[string]bool{}
	for _, reel := range m.run.Reels {
		for _, c := range reel.Strip.Channels {
			if m.step.Levels[c.Name] > 0 && c.Usual && !seen[c.Name] {
				seen[c.Name] = true
				usual = append(usual, c.Name)
			}
		}
	}
	if len(usual) > 0 {
		m.say("the run file has no primaries for %s: usual ones are taken, so the colours are those of a usual strip", strings.Join(usual, ", "))
	}
}
