package table

import (
	"fmt"
	"io"
	"math"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Prediction writes a prediction: warnings first, then supplies, feeds, joints and reels. The error
// is the writer's.
func Prediction(w io.Writer, p *prediction.Prediction, style Style) error {
	t := newTable(w, style)
	t.wrapped("", printable.Short(wording.RunName(p.Run), 120)+wording.InStep(p.Step)+", if everything is as its file states", 0, assessment.None)
	for _, warning := range p.Warnings {
		t.wrapped("warning", warning, wordWidth, assessment.None)
	}
	var supplies, feeds, joints, reels []row
	for _, s := range p.Supplies {
		supplies = append(supplies, row{name: s.Name, cells: []string{number.Fixed(s.Volts, 3), number.Fixed(s.Amps, 3)}})
	}
	for _, f := range p.Feeds {
		feeds = append(feeds, row{name: f.Name, cells: []string{number.Fixed(f.Amps, 3), number.Fixed(f.Drop, 3), number.Milliohms(f.Ohms)}})
	}
	for _, j := range p.Joints {
		joints = append(joints, row{name: j.Name, cells: []string{number.Fixed(j.Amps, 3), number.Fixed(j.Drop, 4), number.Milliohms(j.Ohms)}})
	}
	for _, r := range p.Reels {
		n := len(r.Pixels)
		if n == 0 {
			reels = append(reels, row{name: r.Name})
			continue
		}
		low := lowest(r.Pixels)
		reels = append(reels, row{name: r.Name, cells: []string{number.Fixed(r.Pixels[0].Volts, 3), number.Fixed(r.Pixels[low].Volts, 3), fmt.Sprint(low + 1), number.Fixed(r.Pixels[n-1].Volts, 3)}})
	}
	for _, part := range []struct {
		name  string
		heads []string
		rows  []row
	}{
		{"Supplies", []string{"volts", "amps"}, supplies},
		{"Feeds", []string{"amps", "drop V", "mΩ"}, feeds},
		{"Joints", []string{"amps", "drop V", "mΩ"}, joints},
		{"Reels, volts", []string{"start", "lowest", "at pixel", "end"}, reels},
	} {
		if len(part.rows) > 0 {
			t.blank()
			t.grid(part.name, part.heads, part.rows)
		}
	}
	return t.w.Flush()
}

// lowest returns the index of the pixel with the least volts.
func lowest(pixels []prediction.Pixel) int {
	low := 0
	for i, x := range pixels {
		if x.Volts < pixels[low].Volts || math.IsNaN(pixels[low].Volts) {
			low = i
		}
	}
	return low
}
