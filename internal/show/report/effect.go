package report

import (
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/network/limits"
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
	return object{{"level", number(e.Level)}, {"verdict", e.Verdict}, {"above_limit", list(e.Remaining, func(s string) any { return s })}, {"amps", number(e.State.Amps)},
		{"colour_shift", n(e.Shift)}, {"dimming", n(e.Dimming)}, {"least_volts", n(e.LeastVolts)},
		{"joint_watts", n(e.JointWatts)}, {"limit_used", n(e.Utilisation)},
		{"highest_level", n(e.Highest)}, {"limiter_amps", n(e.Limiter)}, {"highest_amps", number(e.Rating.State.Amps)},
		{"binds", binds}, {"uses", uses}}
}
