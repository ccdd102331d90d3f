package jsondoc

import (
	"io"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
)

// EffectDoc compares a load with the limits, and holds the highest level that keeps them.
type EffectDoc struct {
	Level        Number             `json:"level"`
	Verdict      assessment.Verdict `json:"verdict"`
	AboveLimit   []string           `json:"above_limit"` // joints and feeds that remain above their limits
	Amps         Number             `json:"amps"`
	ColourShift  Interval           `json:"colour_shift"`
	Dimming      Interval           `json:"dimming"`
	LeastVolts   Interval           `json:"least_volts"`
	JointWatts   Interval           `json:"joint_watts"`
	LimitUsed    Interval           `json:"limit_used"`
	HighestLevel Interval           `json:"highest_level"`
	LimiterAmps  Interval           `json:"limiter_amps"`
	HighestAmps  Number             `json:"highest_amps"`
	Binds        *UseDoc            `json:"binds"` // null: nothing, even at full level
	Uses         []UseDoc           `json:"uses"`
}

// UseDoc compares a part of the run with one of its limits, in the criterion's SI unit.
type UseDoc struct {
	Criterion string `json:"criterion"`
	Subject   string `json:"subject"`
	Pixel     int    `json:"pixel,omitempty"`
	Value     Number `json:"value"`
	Limit     Number `json:"limit"`
}

// RepairDoc is one repair; labour and material are points to rank by.
type RepairDoc struct {
	Kind     string   `json:"kind"`
	Text     string   `json:"text"`
	Labour   int      `json:"labour"`
	Material Number   `json:"material"`
	FuseAmps Number   `json:"fuse_amps,omitempty"`
	Cautions []string `json:"cautions"`
}

// RepairsDoc is what repair prints.
type RepairsDoc struct {
	Schema       int         `json:"schema"`
	Run          string      `json:"run"`
	Step         string      `json:"step"`
	FromReadings bool        `json:"from_readings"`
	DesignAmps   Number      `json:"design_amps"`
	AsWired      EffectDoc   `json:"as_wired"`
	Repairs      []OptionDoc `json:"repairs"`
	Pair         *OptionDoc  `json:"pair"`
	Assumed      []string    `json:"assumed"`
}

// OptionDoc is a set of repairs and their effect.
type OptionDoc struct {
	Cost    Number      `json:"cost"`
	Repairs []RepairDoc `json:"repairs"`
	Wins    WinsDoc     `json:"wins"`
	Effect  EffectDoc   `json:"effect"`
}

// WinsDoc is the improvement by repairs over the run as wired.
type WinsDoc struct {
	ColourShift Number `json:"colour_shift"`
	LeastVolts  Number `json:"least_volts"`
	JointWatts  Number `json:"joint_watts"`
	LimiterAmps Number `json:"limiter_amps"`
}

// LimitsDoc is what limit prints.
type LimitsDoc struct {
	Schema       int                `json:"schema"`
	Run          string             `json:"run"`
	FromReadings bool               `json:"from_readings"`
	Verdict      assessment.Verdict `json:"verdict"`
	LimiterAmps  Interval           `json:"limiter_amps"`
	Decides      *string            `json:"decides"` // the colour that allows least; null: none breaks a limit
	Colours      []ColourLoadDoc    `json:"colours"`
	After        []AfterDoc         `json:"after"`
	Assumed      []string           `json:"assumed"`
}

// ColourLoadDoc is one colour of the run's steps.
type ColourLoadDoc struct {
	Steps   string    `json:"steps"`
	AsWired EffectDoc `json:"as_wired"`
}

// AfterDoc is the highest safe load of a run after a repair.
type AfterDoc struct {
	Repair      RepairDoc   `json:"repair"`
	LimiterAmps Interval    `json:"limiter_amps"`
	Decides     *string     `json:"decides"`
	Colours     []EffectDoc `json:"colours"`
}

// Repairs writes a plan of repairs. The error is the writer's.
func Repairs(w io.Writer, p *repair.Plan) error {
	ends := p.Basis.FromReadings
	option := func(o repair.Option) OptionDoc {
		shift, volts, watts, amps := p.Wins(o)
		return OptionDoc{Number(o.Cost()), list(o.Repairs, repairDoc),
			WinsDoc{Number(shift), Number(volts), Number(watts), Number(amps)}, effectDoc(o.Effect, ends)}
	}
	d := RepairsDoc{Schema: schema, Run: wording.RunName(p.Basis.Run), Step: p.Step, FromReadings: ends,
		DesignAmps: Number(p.Mix.Limiter(p.Basis.Run, p.Level)), AsWired: effectDoc(p.AsWired, ends),
		Repairs: list(p.Options, option), Assumed: texts(p.Assumed)}
	if p.Pair != nil {
		pair := option(*p.Pair)
		d.Pair = &pair
	}
	return write(w, "repairs", d)
}

// Limits writes the highest safe load of a run. It returns the writer's error.
func Limits(w io.Writer, l *repair.Loads) error {
	ends := l.Basis.FromReadings
	safe, decides := repair.Limiter(l.Effects())
	return write(w, "limits", LimitsDoc{
		Schema: schema, Run: wording.RunName(l.Basis.Run), FromReadings: ends, Verdict: l.Verdict(),
		LimiterAmps: intervalOf(safe, 1, ends), Decides: deciding(l, decides),
		Colours: list(l.Colours, func(c repair.Load) ColourLoadDoc { return ColourLoadDoc{c.Mix.Name, effectDoc(c.Effect, ends)} }),
		After: list(l.After, func(c repair.Change) AfterDoc {
			safe, decides := repair.Limiter(c.Colours)
			return AfterDoc{repairDoc(c.Repair), intervalOf(safe, 1, false), deciding(l, decides),
				list(c.Colours, func(e repair.Effect) EffectDoc { return effectDoc(e, false) })}
		}),
		Assumed: texts(l.Assumed),
	})
}

// deciding names the colour that allows the least; nil where none breaks a limit.
func deciding(l *repair.Loads, colour int) *string {
	if colour < 0 {
		return nil
	}
	return &l.Colours[colour].Mix.Name
}

func repairDoc(r repair.Repair) RepairDoc {
	return RepairDoc{string(r.Kind), r.Text, r.Labour, Number(r.Material), Number(r.Fuse), texts(r.Cautions)}
}

// effectDoc converts an effect; ends states whether it has intervals.
func effectDoc(e repair.Effect, ends bool) EffectDoc {
	of := func(i interval.Interval) Interval { return intervalOf(i, 1, ends) }
	d := EffectDoc{Level: Number(e.Level), Verdict: e.Verdict, AboveLimit: texts(e.Remaining), Amps: Number(e.State.Amps), ColourShift: of(e.Shift), Dimming: of(e.Dimming),
		LeastVolts: of(e.LeastVolts), JointWatts: of(e.JointWatts), LimitUsed: of(e.Utilisation), HighestLevel: of(e.Highest),
		LimiterAmps: of(e.Limiter), HighestAmps: Number(e.Rating.State.Amps), Uses: []UseDoc{}}
	if e.Rating.Binding.Subject != "" {
		binds := useDoc(e.Rating.Binding)
		d.Binds = &binds
	}
	for _, u := range e.State.Utilisations {
		if u.Subject != "" {
			d.Uses = append(d.Uses, useDoc(u))
		}
	}
	return d
}

func useDoc(u limits.Utilisation) UseDoc {
	return UseDoc{u.Criterion.String(), u.Subject, u.Pixel, Number(u.Value), Number(u.Limit)}
}
