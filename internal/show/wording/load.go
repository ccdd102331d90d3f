package wording

import (
	"fmt"
	"strings"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Binding returns the limit that is reached first, in words.
func Binding(e repair.Effect) string {
	if e.Rating.Binding.Subject == "" {
		return "nothing, even at full level"
	}
	return Utilisation(e.Rating.Binding)
}

// Remaining names the joints and feeds that stay above their limits.
func Remaining(e repair.Effect) string {
	names := e.Remaining
	if n := len(names); n > 3 {
		return fmt.Sprintf("%s and %d more above their limits", printable.Short(strings.Join(names[:2], ", "), 80), n-2)
	}
	if len(names) > 1 {
		return printable.Short(strings.Join(names, ", "), 120) + " above their limits"
	}
	return printable.Short(names[0], 60) + " above its limit"
}

// Utilisation returns the criterion, the part of the run, its value and its limit, in words.
func Utilisation(u limits.Utilisation) string {
	name := printable.Short(u.Subject, 30)
	switch u.Criterion {
	case limits.Colour:
		return fmt.Sprintf("colour at %s pixel %d (off by %s, limit %s)", name, u.Pixel, number.Figures(u.Value, 2), number.Figures(u.Limit, 2))
	case limits.Brightness:
		return fmt.Sprintf("brightness at %s pixel %d (%.0f %% missing, limit %.0f %%)", name, u.Pixel, 100*u.Value, 100*u.Limit)
	case limits.DataLevel:
		return fmt.Sprintf("data level at %s pixel %d (takes %.2f V for a high, gets %.2f V)", name, u.Pixel, u.Value, u.Limit)
	case limits.JointHeat:
		return fmt.Sprintf("heat in joint %s (%s W, limit %s W)", name, number.Figures(u.Value, 2), number.Figures(u.Limit, 2))
	case limits.FeedDrop:
		return fmt.Sprintf("drop of feed %s (%.0f mV, limit %.0f mV)", name, 1000*u.Value, 1000*u.Limit)
	case limits.Fuse:
		return fmt.Sprintf("fuse of feed %s (%s A, 80 %% of its rating)", name, number.Figures(u.Limit, 3))
	case limits.SteadyState:
		return fmt.Sprintf("steady state at %s pixel %d (regulated pixels need %.2f V; below it they draw ever more current as their volts fall)", name, u.Pixel, u.Value)
	case limits.Ampacity:
		return fmt.Sprintf("wire of feed %s (%s A, 80 %% of its rating)", name, number.Figures(u.Limit, 3))
	}
	return fmt.Sprintf("supply %s (%s A, 80 %% of its rating)", name, number.Figures(u.Limit, 3))
}

// Span writes a value with its interval where there is one.
func Span(n interval.Interval, digits int) string {
	if n.Low == n.High {
		return number.Fixed(n.Value, digits)
	}
	return fmt.Sprintf("%s (%s to %s)", number.Fixed(n.Value, digits), number.Fixed(n.Low, digits), number.Fixed(n.High, digits))
}

// EvenLight states that the answers assume an evenly lit run.
const EvenLight = "The whole run is taken as lit evenly: the same amperes in its far part alone make it dimmer there."

// LoadHeadline returns what a run may carry, and whether it carries what it has to.
func LoadHeadline(l *repair.Loads) (text string, verdict assessment.Verdict) {
	effects := l.Effects()
	safe, decides := repair.Limiter(effects)
	amps := safe.Value
	if l.Basis.FromReadings {
		amps = safe.Low
	}
	text = fmt.Sprintf("set the limiter to at most %s A", number.Fixed(amps, 2))
	switch {
	case decides < 0:
		text = "every colour of the run's steps holds at full level"
	case effects[decides].Rating.Dark():
		text = "no limiter is low enough; even in the dark a limit is broken"
	}
	switch verdict = l.Verdict(); {
	case remains(l):
		text += "; " + Remaining(effects[0]) + ": a bad contact gets worse at any load"
	case verdict == assessment.Fail && l.Design >= 0:
		text += "; the design step is too bright for it as wired"
	case verdict == assessment.Fail:
		text += "; the steps as stated are too bright"
	}
	return text, verdict
}

// remains reports whether a load fails only because joints or feeds are above their limits.
func remains(l *repair.Loads) bool {
	if len(l.Colours[0].Effect.Remaining) == 0 {
		return false
	}
	for i, c := range l.Colours {
		if c.Effect.LoadVerdict == assessment.Fail && (l.Design < 0 || i == l.Design) {
			return false
		}
	}
	return true
}

// Level returns the level up to which everything holds, and the current that a limiter is set to.
func Level(e repair.Effect) string {
	if e.Rating.Dark() {
		return "none: broken in the dark already"
	}
	return PercentSpan(e.Highest) + " of full level, a limiter of " + Span(e.Limiter, 2) + " A"
}

// PercentSpan writes a part with its interval, if there is one, in percent.
func PercentSpan(n interval.Interval) string {
	if n.Low == n.High {
		return number.Percent(n.Value)
	}
	return fmt.Sprintf("%s (%s to %s)", number.Percent(n.Value), number.Percent(n.Low), number.Percent(n.High))
}

// LoadCautions are the cautions about a limiter.
var LoadCautions = []string{"A limiter in a controller is not a fuse: fuse each feed near its supply.",
	"Respect the ratings of cables and connectors; mains terminals are the work of licensed people; local codes decide."}

// LimiterCounts states what a limiter counts.
const LimiterCounts = "The limiter counts every pixel at its rated volts by the run file's figures, as a controller does."
