package jsondoc

import (
	"io"
	"strconv"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/show/wording"
)

// PredictDoc is what predict prints.
type PredictDoc struct {
	Schema   int            `json:"schema"`
	Run      string         `json:"run"`
	Step     string         `json:"step"`
	Supplies []SupplyDoc    `json:"supplies"`
	Feeds    []CarriedDoc   `json:"feeds"`
	Joints   []CarriedDoc   `json:"joints"`
	Reels    []ReelVoltsDoc `json:"reels"`
	Warnings []string       `json:"warnings"`
}

// SupplyDoc is a supply under load.
type SupplyDoc struct {
	Name  string `json:"name"`
	Volts Number `json:"volts"`
	Amps  Number `json:"amps"`
}

// CarriedDoc is what a feed or joint carries, both conductors together.
type CarriedDoc struct {
	Name      string `json:"name"`
	Amps      Number `json:"amps"`
	DropVolts Number `json:"drop_volts"`
	Milliohms Number `json:"milliohms"`
}

// ReelVoltsDoc is a reel, pixel by pixel.
type ReelVoltsDoc struct {
	Name   string    `json:"name"`
	Pixels pixelList `json:"pixels"`
}

// PixelVoltsDoc holds the volts of a pixel; potentials are against the first supply's minus.
type PixelVoltsDoc struct {
	Pixel     int    `json:"pixel"` // from 1
	Volts     Number `json:"volts"`
	Plus      Number `json:"plus"`
	Minus     Number `json:"minus"`
	Milliamps Number `json:"milliamps"`
}

// pixelList is a list that appendObjects writes.
type pixelList []PixelVoltsDoc

// MarshalJSON writes the pixels with the keys of PixelVoltsDoc.
func (p pixelList) MarshalJSON() ([]byte, error) {
	return appendObjects(p, 80, func(b []byte, x PixelVoltsDoc) []byte {
		b = strconv.AppendInt(append(b, `{"pixel":`...), int64(x.Pixel), 10)
		b = appendNumber(append(b, `,"volts":`...), float64(x.Volts))
		b = appendNumber(append(b, `,"plus":`...), float64(x.Plus))
		b = appendNumber(append(b, `,"minus":`...), float64(x.Minus))
		b = appendNumber(append(b, `,"milliamps":`...), float64(x.Milliamps))
		return append(b, '}')
	}), nil
}

// appendObjects returns a list as JSON; object appends one element, of about size bytes. Unlike
// encoding/json it allocates nothing for each element, because a run may have a million pixels.
func appendObjects[T any](list []T, size int, object func([]byte, T) []byte) []byte {
	b := append(make([]byte, 0, 2+size*len(list)), '[')
	for i, x := range list {
		if i > 0 {
			b = append(b, ',')
		}
		b = object(b, x)
	}
	return append(b, ']')
}

// Prediction writes a prediction. The error is the writer's.
func Prediction(w io.Writer, p *prediction.Prediction) error {
	return write(w, "prediction", PredictDoc{
		Schema: schema, Run: wording.RunName(p.Run), Step: p.Step,
		Supplies: list(p.Supplies, func(s prediction.Supply) SupplyDoc { return SupplyDoc{s.Name, Number(s.Volts), Number(s.Amps)} }),
		Feeds: list(p.Feeds, func(f prediction.Feed) CarriedDoc {
			return CarriedDoc{f.Name, Number(f.Amps), Number(f.Drop), milli(f.Ohms)}
		}),
		Joints: list(p.Joints, func(j prediction.Joint) CarriedDoc {
			return CarriedDoc{j.Name, Number(j.Amps), Number(j.Drop), milli(j.Ohms)}
		}),
		Reels:    list(p.Reels, func(r prediction.Reel) ReelVoltsDoc { return ReelVoltsDoc{r.Name, pixelVolts(r.Pixels)} }),
		Warnings: texts(p.Warnings),
	})
}

func pixelVolts(pixels []prediction.Pixel) pixelList {
	out := make(pixelList, len(pixels))
	for i, x := range pixels {
		out[i] = PixelVoltsDoc{i + 1, Number(x.Volts), Number(x.Plus), Number(x.Minus), Number(x.Amps * 1000)}
	}
	return out
}
