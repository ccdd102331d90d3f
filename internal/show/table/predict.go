package table

import (
	"bufio"
	"fmt"
	"io"
	"math"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Prediction writes a prediction as plain text of at most 80 columns:
// warnings first, then supplies, feeds, joints and reels. The error is the
// writer's.
func Prediction(w io.Writer, p *prediction.Prediction) error {
	t := table{w: bufio.NewWriter(w)}
	t.wrapped("", printable.Short(wording.RunName(p.Run), 120)+wording.InStep(p.Step)+", if everything is as its file states", 0, assessment.None)
	for _, warning := range p.Warnings {
		t.wrapped("warning", warning, wordWidth, assessment.None)
	}
	if len(p.Supplies) > 0 {
		t.heads("Supplies", "volts", "amps")
		for _, s := range p.Supplies {
			t.columns(s.Name, number.Fixed(s.Volts, 3), number.Fixed(s.Amps, 3))
		}
	}
	if len(p.Feeds) > 0 {
		t.heads("Feeds", "amps", "drop V", "mΩ")
		for _, f := range p.Feeds {
			t.columns(f.Name, number.Fixed(f.Amps, 3), number.Fixed(f.Drop, 3), number.Milliohms(f.Ohms))
		}
	}
	if len(p.Joints) > 0 {
		t.heads("Joints", "amps", "drop V", "mΩ")
		for _, j := range p.Joints {
			t.columns(j.Name, number.Fixed(j.Amps, 3), number.Fixed(j.Drop, 4), number.Milliohms(j.Ohms))
		}
	}
	if len(p.Reels) > 0 {
		t.heads("Reels, volts", "start", "lowest", "at pixel", "end")
		for _, r := range p.Reels {
			n := len(r.Pixels)
			if n == 0 {
				t.columns(r.Name)
				continue
			}
			low := lowest(r.Pixels)
			t.columns(r.Name, number.Fixed(r.Pixels[0].Volts, 3), number.Fixed(r.Pixels[low].Volts, 3), fmt.Sprint(low+1), number.Fixed(r.Pixels[n-1].Volts, 3))
		}
	}
	return t.w.Flush()
}

// lowest gives the index of the pixel with the least volts.
func lowest(pixels []prediction.Pixel) int {
	low := 0
	for i, x := range pixels {
		if x.Volts < pixels[low].Volts || math.IsNaN(pixels[low].Volts) {
			low = i
		}
	}
	return low
}

// columns writes a name and numbers below each other.
func (t table) columns(name string, cells ...string) {
	fmt.Fprint(t.w, left(name, 32))
	for _, c := range cells {
		fmt.Fprint(t.w, right(c, 11))
	}
	fmt.Fprintln(t.w)
}

// heads writes the heading of a group of columns.
func (t table) heads(name string, cells ...string) {
	fmt.Fprintln(t.w)
	t.columns(name, cells...)
}
