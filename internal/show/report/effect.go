package report

import (
	"fmt"
	"math"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/text/printable"
)

func numberJSON(n interval.Interval, spread bool) any {
	o := object{{"value", number(n.Value)}}
	if spread {
		o = append(o, member{"low", number(n.Low)}, member{"high", number(n.High)})
	}
	return o
}

func useJSON(u limits.Utilisation) any {
	o := object{{"criterion", u.Criterion.String()}, {"subject", u.Subject}}
	if u.Pixel > 0 {
		o = append(o, member{"pixel", u.Pixel})
	}
	return append(o, member{"value", number(u.Value)}, member{"limit", number(u.Limit)})
}

// effectJSON writes an effect; spread says whether it has intervals.
func effectJSON(e repair.Effect, spread bool) object {
	var binds any
	if e.Rating.Binding.Subject != "" {
		binds = useJSON(e.Rating.Binding)
	}
	var uses array
	for _, u := range e.State.Utilisations {
		if u.Subject != "" {
			uses = append(uses, useJSON(u))
		}
	}
	n := func(x interval.Interval) any { return numberJSON(x, spread) }
	return object{{"level", number(e.Level)}, {"verdict", e.Verdict}, {"amps", number(e.State.Amps)},
		{"colour_shift", n(e.Shift)}, {"dimming", n(e.Dimming)}, {"least_volts", n(e.LeastVolts)},
		{"joint_watts", n(e.JointWatts)}, {"limit_used", n(e.Utilisation)},
		{"highest_level", n(e.Highest)}, {"limiter_amps", n(e.Limiter)}, {"highest_amps", number(e.Rating.State.Amps)},
		{"binds", binds}, {"uses", uses}}
}

// bindsText says what gives way first.
func bindsText(e repair.Effect) string {
	if e.Rating.Binding.Subject == "" {
		return "nothing, even at full level"
	}
	return useText(e.Rating.Binding)
}

// useText says what of which part comes to which limit.
func useText(u limits.Utilisation) string {
	name := printable.Short(u.Subject, 30)
	switch u.Criterion {
	case limits.Colour:
		return fmt.Sprintf("colour at %s pixel %d (%s u'v', limit %s)", name, u.Pixel, figures(u.Value, 2), figures(u.Limit, 2))
	case limits.Brightness:
		return fmt.Sprintf("brightness at %s pixel %d (%.0f %% missing, limit %.0f %%)", name, u.Pixel, 100*u.Value, 100*u.Limit)
	case limits.DataLevel:
		return fmt.Sprintf("data level at %s pixel %d (takes %.2f V for a high, gets %.2f V)", name, u.Pixel, u.Value, u.Limit)
	case limits.JointHeat:
		return fmt.Sprintf("heat in joint %s (%s W, limit %s W)", name, figures(u.Value, 2), figures(u.Limit, 2))
	case limits.FeedDrop:
		return fmt.Sprintf("drop of feed %s (%.0f mV, limit %.0f mV)", name, 1000*u.Value, 1000*u.Limit)
	case limits.Fuse:
		return fmt.Sprintf("fuse of feed %s (%s A, 80 %% of its rating)", name, figures(u.Limit, 3))
	case limits.SteadyState:
		return fmt.Sprintf("steady state at %s pixel %d (regulated pixels need %.2f V; below, they draw more as their volts fall, and run away)", name, u.Pixel, u.Value)
	case limits.Ampacity:
		return fmt.Sprintf("wire of feed %s (%s A, 80 %% of its rating)", name, figures(u.Limit, 3))
	}
	return fmt.Sprintf("supply %s (%s A, 80 %% of its rating)", name, figures(u.Limit, 3))
}

// spanText writes a value with its interval where there is one.
func spanText(n interval.Interval, digits int) string {
	if n.Low == n.High {
		return fixed(n.Value, digits)
	}
	return fmt.Sprintf("%s (%s to %s)", fixed(n.Value, digits), fixed(n.Low, digits), fixed(n.High, digits))
}

// evenLight is what the answers take for granted.
const evenLight = "The whole run is taken as lit evenly: the same amperes in its far part alone starve it more."

// percent writes a part of 1.
func percent(v float64) string {
	if math.IsNaN(v) {
		return "?"
	}
	return figures(100*v, 3) + " %"
}
