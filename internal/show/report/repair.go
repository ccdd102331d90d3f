package report

import (
	"io"

	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/show/wording"
)

// RepairJSON writes a plan of repairs as one JSON object on one line. The error is
// the writer's.
func RepairJSON(w io.Writer, p *repair.Plan) error {
	spread := p.Basis.FromReadings
	option := func(o repair.Option) any {
		shift, volts, watts, amps := p.Wins(o)
		return object{{"cost", number(o.Cost())}, {"repairs", list(o.Repairs, repairJSON)},
			{"wins", object{{"colour_shift", number(shift)}, {"least_volts", number(volts)}, {"joint_watts", number(watts)}, {"limiter_amps", number(amps)}}},
			{"effect", effectJSON(o.Effect, spread)}}
	}
	var pair any
	if p.Pair != nil {
		pair = option(*p.Pair)
	}
	return write(w, "repairs", object{
		{"schema", schema}, {"run", wording.RunName(p.Basis.Run)}, {"step", p.Step}, {"from_readings", spread},
		{"design_amps", number(p.Mix.Limiter(p.Basis.Run, p.Level))},
		{"as_wired", effectJSON(p.AsWired, spread)},
		{"repairs", list(p.Options, option)}, {"pair", pair},
		{"assumed", list(p.Assumed, func(s string) any { return s })},
	})
}

func repairJSON(r repair.Repair) any {
	o := object{{"kind", string(r.Kind)}, {"text", r.Text}, {"labour", r.Labour}, {"material", number(r.Material)}}
	if r.Fuse > 0 {
		o = append(o, member{"fuse_amps", number(r.Fuse)})
	}
	return append(o, member{"cautions", list(r.Cautions, func(s string) any { return s })})
}
