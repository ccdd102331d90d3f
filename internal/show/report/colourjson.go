package report

import (
	"io"
	"strconv"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
	"ohmkeep/internal/show/wording"
)

var changes = map[colourloss.Change]string{colourloss.Neither: "none", colourloss.DimmerOnly: "dimmer",
	colourloss.ColourOnly: "colour", colourloss.Both: "both"}

// ColourJSON writes what is seen of a run as one JSON object on one line. The
// error is the writer's.
func ColourJSON(w io.Writer, a *colourloss.Appearance) error {
	spot := a.Worst
	reel := a.Reels[spot.Place.Index]
	return write(w, "colour", object{
		{"schema", schema}, {"run", wording.RunName(a.Run)}, {"step", a.Step.Name}, {"fitted", a.Fitted}, {"asked", a.Asked},
		{"change", changes[a.Change]}, {"verdict", a.Verdict},
		{"limits", object{{"colour_shift", number(a.Run.Limits.ColourShift)}, {"dimming_percent", number(100 * a.Run.Limits.Dimming)}}},
		{"places", list(a.Stretches, func(p colourloss.Stretch) any {
			return object{{"reel", p.Reel}, {"from", p.From}, {"to", p.To}, {"colour", p.Colour}, {"dimmer", p.Dim},
				{"colour_shift", number(p.Shift)}, {"dimming_percent", number(100 * p.Dimmed)}}
		})},
		{"worst", object{
			{"place", spot.Name}, {"reel", reel.Name}, {"pixel", spot.Place.Pixel},
			{"volts", knownJSON(spot.Volts, 1)}, {"colour_shift", knownJSON(spot.Shift, 1)},
			{"dimming_percent", knownJSON(spot.Dimming, 100)},
			{"commanded", whiteJSON(reel.Full, spot.Whiteness)},
			{"seen", whiteJSON(reel.Pixels[spot.Place.Pixel-1].Light, spot.SeenAs)},
		}},
		{"method", method},
		{"shares", list(a.Shares, func(s colourloss.Share) any {
			kind := string(s.Kind)
			if s.Kind == run.KindReel {
				kind = "copper"
			}
			return object{{"kind", kind}, {"names", list(s.Names, func(n string) any { return n })},
				{"lost_volts", knownJSON(s.Volts, 1)}, {"colour_shift", knownJSON(s.Shift, 1)}, {"dimming_percent", knownJSON(s.Dimming, 100)}}
		})},
		{"reels", list(a.Reels, func(r colourloss.Reel) any {
			return object{{"name", r.Name}, {"pixels", seenPixels(r.Pixels)}}
		})},
		{"warnings", list(a.Warnings, func(s string) any { return s })},
	})
}

func knownJSON(k interval.Interval, by float64) any {
	return object{{"value", number(by * k.Value)}, {"low", number(by * k.Low)}, {"high", number(by * k.High)}}
}

// whiteJSON is a light's chromaticity, and its temperature where it is white.
func whiteJSON(c colour.XYZ, w colourloss.White) any {
	xy, uv := c.XY(), c.UV()
	o := object{{"x", number(xy.X)}, {"y", number(xy.Y)}, {"u", number(uv.U)}, {"v", number(uv.V)}}
	if w.Valid {
		o = append(o, member{"kelvin", number(w.Kelvin)}, member{"duv", number(w.Duv)})
	}
	return o
}

// seenPixels writes itself, because a run may have a million.
type seenPixels []colourloss.Pixel

// MarshalJSON writes the pixels, numbered from 1; u and v are null in darkness.
func (p seenPixels) MarshalJSON() ([]byte, error) {
	b := make([]byte, 0, 2+110*len(p))
	b = append(b, '[')
	for i, x := range p {
		if i > 0 {
			b = append(b, ',')
		}
		uv := x.Light.UV()
		b = strconv.AppendInt(append(b, `{"pixel":`...), int64(i+1), 10)
		b = appendNumber(append(b, `,"volts":`...), x.Volts)
		b = appendNumber(append(b, `,"brightness":`...), x.Part)
		b = appendNumber(append(b, `,"colour_shift":`...), x.Shift)
		b = appendNumber(append(b, `,"u":`...), uv.U)
		b = appendNumber(append(b, `,"v":`...), uv.V)
		b = append(b, '}')
	}
	return append(b, ']'), nil
}
