package table

import (
	"fmt"
	"io"
	"math"
	"strings"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Colour writes the appearance of a run: in words what changes and where, the worst pixel, and the
// causes of its loss. The error is the writer's.
func Colour(w io.Writer, a *colourloss.Appearance, style Style) error {
	t := newTable(w, style)
	t.wrapped("", changed(a)+provided(a), 0, a.Verdict)
	t.wrapped("", printable.Short(wording.RunName(a.Run), 120)+wording.InStep(a.Step.Name)+", "+basis(a), 0, assessment.None)
	t.wrapped("", spotText(a), 0, assessment.None)
	for _, warning := range a.Warnings {
		t.wrapped("warning", warning, wordWidth, assessment.None)
	}
	if len(a.Stretches) > 0 {
		t.heading("Beyond a limit")
		for _, p := range a.Stretches {
			t.wrapped("", printable.Short(placeText(p), 120), 2, assessment.None)
		}
	}
	t.shares(a)
	return t.w.Flush()
}

func basis(a *colourloss.Appearance) string {
	if a.Fitted {
		return "as its readings show it"
	}
	return "if everything is as its file states"
}

// changed returns in words whether the run dims, changes colour, or both.
func changed(a *colourloss.Appearance) string {
	where := placesText(a.Stretches)
	switch a.Change {
	case colourloss.Both:
		return "DIMMER AND OFF COLOUR: " + where
	case colourloss.DimmerOnly:
		return "DIMMER ONLY, the colour holds: " + where
	case colourloss.ColourOnly:
		return "OFF COLOUR ONLY, the brightness holds: " + where
	}
	if a.Verdict == assessment.Unproven {
		return "COLOUR AND BRIGHTNESS HOLD by the best estimate, but not enough readings to be sure"
	}
	return "COLOUR AND BRIGHTNESS HOLD along the whole run"
}

// provided returns the assumptions on which a verdict depends, for its line.
func provided(a *colourloss.Appearance) string {
	if a.Assumed == "" {
		return ""
	}
	return ", if the pixels begin to dim at the usual volts (first warning)"
}

// placesText names the places in one line.
func placesText(places []colourloss.Stretch) string {
	var joined []colourloss.Stretch
	for _, p := range places { // neighbouring stretches of one reel are shown as one
		if n := len(joined); n > 0 && joined[n-1].Reel == p.Reel && joined[n-1].To+1 == p.From {
			joined[n-1].To = p.To
			continue
		}
		joined = append(joined, p)
	}
	var names []string
	for _, p := range joined {
		names = append(names, fmt.Sprintf("%s %d to %d", printable.Short(p.Reel, 40), p.From, p.To))
	}
	return wording.Few(names)
}

func placeText(p colourloss.Stretch) string {
	var what []string
	if p.Colour {
		what = append(what, fmt.Sprintf("colour off by up to %s", number.Figures(p.Shift, 2)))
	}
	if p.Dim {
		what = append(what, fmt.Sprintf("dimmer by up to %.0f %%", 100*p.Dimmed))
	}
	return fmt.Sprintf("%s, pixels %d to %d: %s", p.Reel, p.From, p.To, strings.Join(what, ", "))
}

// spotText returns the description of the pixel that is examined.
func spotText(a *colourloss.Appearance) string {
	w := a.Worst
	which := "The worst pixel is %s at"
	if a.Asked {
		which = "Pixel %s is at"
	}
	text := fmt.Sprintf(which+" %s V. Its colour is off by %s, where %s is allowed (distance in the CIE 1976 u'v' diagram), and it is %s %% dimmer, where %.3g %% is allowed.",
		printable.Short(w.Name, 40), within(w.Volts, 1, 2), within(w.Shift, 1, 4), number.Figures(a.Run.Limits.ColourShift, 2),
		within(w.Dimming, 100, 0), 100*a.Run.Limits.Dimming)
	switch {
	case w.Whiteness.Valid && !w.SeenAs.Valid:
		text += " It is no longer white."
	case w.Whiteness.Valid && math.Abs(w.Whiteness.Kelvin-w.SeenAs.Kelvin) >= 5:
		text += fmt.Sprintf(" Its white turns %s: from %.0f K to %.0f K (distance from the line of pure whites, Duv, from %s to %s).",
			turn(w.Whiteness, w.SeenAs), w.Whiteness.Kelvin, w.SeenAs.Kelvin, signed(w.Whiteness.Duv), signed(w.SeenAs.Duv))
	}
	return text
}

// turn describes the change of a white in words. Above the line of pure whites, where Duv
// is positive, it looks green; below it pink (ANSI C78.377, as remembered).
func turn(from, to colourloss.White) string {
	const noticeable = 0.002 // Duv; common practice, no source
	side := "warmer"
	if to.Kelvin > from.Kelvin {
		side = "cooler"
	}
	switch {
	case to.Duv < from.Duv-noticeable:
		return side + " and pinker"
	case to.Duv > from.Duv+noticeable:
		return side + " and greener"
	}
	return side
}

func signed(duv float64) string { return strings.Replace(fmt.Sprintf("%+.4f", duv), "-", "−", 1) }

// within writes a value with its interval where it has one.
func within(k interval.Interval, by float64, digits int) string {
	if k.Low == k.High {
		return number.Fixed(by*k.Value, digits)
	}
	return fmt.Sprintf("%s (%s to %s)", number.Fixed(by*k.Value, digits), number.Fixed(by*k.Low, digits), number.Fixed(by*k.High, digits))
}

// shares writes what causes the loss at the spot.
func (t table) shares(a *colourloss.Appearance) {
	if len(a.Shares) == 0 {
		return
	}
	t.heading("What causes the loss at " + printable.Short(a.Worst.Name, 40))
	var rows []row
	add := func(name string, volts, shift, dim interval.Interval) {
		rows = append(rows, row{name: name, cells: []string{number.Fixed(1000*volts.Value, 0), ranged(shift, 1, 4), ranged(dim, 100, 1)}})
	}
	for _, s := range a.Shares {
		add(wording.Cause(s), s.Volts, s.Shift, s.Dimming)
	}
	rated := a.Run.Reels[a.Worst.Place.Index].Strip.Volts
	add("all together", interval.Interval{Value: rated - a.Worst.Volts.Value}, a.Worst.Shift, a.Worst.Dimming)
	t.grid("", []string{"mV lost", "colour off by", "dimmer by, %"}, rows)
}

// ranged is within for a column.
func ranged(k interval.Interval, by float64, digits int) string {
	if k.Low == k.High {
		return number.Fixed(by*k.Value, digits)
	}
	return fmt.Sprintf("%s (%s…%s)", number.Fixed(by*k.Value, digits), number.Fixed(by*k.Low, digits), number.Fixed(by*k.High, digits))
}
