package jsondoc

import (
	"io"
	"strconv"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
	"ohmkeep/internal/show/wording"
)

// ColourDoc is what colour prints. Shifts are distances in CIE 1976 u'v'.
type ColourDoc struct {
	Schema   int                `json:"schema"`
	Run      string             `json:"run"`
	Step     string             `json:"step"`
	Fitted   bool               `json:"fitted"` // to readings; else as the run file states it
	Asked    bool               `json:"asked"`  // the pixel was named by the caller
	Change   string             `json:"change"` // none, dimmer, colour or both
	Verdict  assessment.Verdict `json:"verdict"`
	Limits   ColourLimitsDoc    `json:"limits"`
	Places   []ColourPlaceDoc   `json:"places"` // stretches beyond a limit
	Worst    ColourPixelDoc     `json:"worst"`
	Method   string             `json:"method"` // by which the loss is divided into shares
	Shares   []ShareDoc         `json:"shares"`
	Reels    []ReelLightDoc     `json:"reels"`
	Warnings []string           `json:"warnings"`
}

// ColourLimitsDoc are the limits of a run.
type ColourLimitsDoc struct {
	ColourShift    Number `json:"colour_shift"`
	DimmingPercent Number `json:"dimming_percent"`
}

// ColourPlaceDoc is a stretch of a reel beyond a limit, by its first and last pixel.
type ColourPlaceDoc struct {
	Reel           string `json:"reel"`
	From           int    `json:"from"`
	To             int    `json:"to"`
	Colour         bool   `json:"colour"`
	Dimmer         bool   `json:"dimmer"`
	ColourShift    Number `json:"colour_shift"`
	DimmingPercent Number `json:"dimming_percent"`
}

// ColourPixelDoc is the worst pixel, or the one that was named.
type ColourPixelDoc struct {
	Place          string   `json:"place"`
	Reel           string   `json:"reel"`
	Pixel          int      `json:"pixel"`
	Volts          Interval `json:"volts"`
	ColourShift    Interval `json:"colour_shift"`
	DimmingPercent Interval `json:"dimming_percent"`
	Commanded      LightDoc `json:"commanded"`
	Seen           LightDoc `json:"seen"`
}

// LightDoc is a light's chromaticity, and its temperature where it is white.
type LightDoc struct {
	X      Number  `json:"x"`
	Y      Number  `json:"y"`
	U      Number  `json:"u"`
	V      Number  `json:"v"`
	Kelvin *Number `json:"kelvin,omitempty"`
	Duv    *Number `json:"duv,omitempty"`
}

// ShareDoc is the part of the worst pixel's loss that a cause makes up; the shares add up.
type ShareDoc struct {
	Kind           string   `json:"kind"`
	Names          []string `json:"names"`
	LostVolts      Interval `json:"lost_volts"`
	ColourShift    Interval `json:"colour_shift"`
	DimmingPercent Interval `json:"dimming_percent"`
}

// ReelLightDoc is a reel, pixel by pixel.
type ReelLightDoc struct {
	Name   string    `json:"name"`
	Pixels lightList `json:"pixels"`
}

// PixelLightDoc is how a pixel looks; u and v are null in darkness.
type PixelLightDoc struct {
	Pixel       int    `json:"pixel"` // from 1
	Volts       Number `json:"volts"`
	Brightness  Number `json:"brightness"` // 1 = as commanded
	ColourShift Number `json:"colour_shift"`
	U           Number `json:"u"`
	V           Number `json:"v"`
}

// lightList is a list that appendObjects writes.
type lightList []PixelLightDoc

// MarshalJSON writes the pixels with the keys of PixelLightDoc.
func (p lightList) MarshalJSON() ([]byte, error) {
	return appendObjects(p, 110, func(b []byte, x PixelLightDoc) []byte {
		b = strconv.AppendInt(append(b, `{"pixel":`...), int64(x.Pixel), 10)
		b = appendNumber(append(b, `,"volts":`...), float64(x.Volts))
		b = appendNumber(append(b, `,"brightness":`...), float64(x.Brightness))
		b = appendNumber(append(b, `,"colour_shift":`...), float64(x.ColourShift))
		b = appendNumber(append(b, `,"u":`...), float64(x.U))
		b = appendNumber(append(b, `,"v":`...), float64(x.V))
		return append(b, '}')
	}), nil
}

// shareMethod names the method by which a pixel's loss is divided among its causes.
const shareMethod = "Shapley's value: each cause against an ideal one, averaged over every order"

var changes = map[colourloss.Change]string{colourloss.Neither: "none", colourloss.DimmerOnly: "dimmer",
	colourloss.ColourOnly: "colour", colourloss.Both: "both"}

// Colour writes the appearance of a run. It returns the writer's error.
func Colour(w io.Writer, a *colourloss.Appearance) error {
	whole := func(i interval.Interval, factor float64) Interval { return intervalOf(i, factor, true) }
	spot := a.Worst
	reel := a.Reels[spot.Place.Index]
	return write(w, "colour", ColourDoc{
		Schema: schema, Run: wording.RunName(a.Run), Step: a.Step.Name, Fitted: a.Fitted, Asked: a.Asked,
		Change: changes[a.Change], Verdict: a.Verdict,
		Limits: ColourLimitsDoc{Number(a.Run.Limits.ColourShift), Number(100 * a.Run.Limits.Dimming)},
		Places: list(a.Stretches, func(p colourloss.Stretch) ColourPlaceDoc {
			return ColourPlaceDoc{p.Reel, p.From, p.To, p.Colour, p.Dim, Number(p.Shift), Number(100 * p.Dimmed)}
		}),
		Worst: ColourPixelDoc{spot.Name, reel.Name, spot.Place.Pixel, whole(spot.Volts, 1), whole(spot.Shift, 1), whole(spot.Dimming, 100),
			lightDoc(reel.Full, spot.Whiteness), lightDoc(reel.Pixels[spot.Place.Pixel-1].Light, spot.SeenAs)},
		Method: shareMethod,
		Shares: list(a.Shares, func(s colourloss.Share) ShareDoc {
			kind := string(s.Kind)
			if s.Kind == run.KindReel {
				kind = "copper"
			}
			return ShareDoc{kind, texts(s.Names), whole(s.Volts, 1), whole(s.Shift, 1), whole(s.Dimming, 100)}
		}),
		Reels:    list(a.Reels, func(r colourloss.Reel) ReelLightDoc { return ReelLightDoc{r.Name, pixelLights(r.Pixels)} }),
		Warnings: texts(a.Warnings),
	})
}

func lightDoc(c colour.XYZ, w colourloss.White) LightDoc {
	xy, uv := c.XY(), c.UV()
	d := LightDoc{X: Number(xy.X), Y: Number(xy.Y), U: Number(uv.U), V: Number(uv.V)}
	if w.Valid {
		kelvin, duv := Number(w.Kelvin), Number(w.Duv)
		d.Kelvin, d.Duv = &kelvin, &duv
	}
	return d
}

func pixelLights(pixels []colourloss.Pixel) lightList {
	out := make(lightList, len(pixels))
	for i, x := range pixels {
		uv := x.Light.UV()
		out[i] = PixelLightDoc{i + 1, Number(x.Volts), Number(x.Part), Number(x.Shift), Number(uv.U), Number(uv.V)}
	}
	return out
}
