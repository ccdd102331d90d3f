package chart

import (
	"bytes"
	"image/png"
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/result/assessment"
)

// Values of any size, none at all and names that would be markup all end in a whole
// picture, wide and narrow; each row's value and verdict are written beside it.
func TestGains(t *testing.T) {
	rows := []Gain{
		{"as wired", 1.83, 1.80, 1.87, assessment.Fail},
		{"remake <script>joint & co", 2.4, 2.3, 9.9, assessment.Pass},
		{"feed the far end", 1.2, 1.2, 1.2, assessment.Unproven},
	}
	for _, width := range []int{Wide, Narrow} {
		svg := drawn(t, Gains("invented", "A", "needed", 2.0, rows, width))
		for _, want := range []string{"as wired", "1.83 fail", "2.40 pass", "1.20 unproven", "needed", "95 % interval"} {
			if !strings.Contains(svg, want) {
				t.Errorf("%d px: no %q", width, want)
			}
		}
	}
	nan, inf := math.NaN(), math.Inf(1)
	for name, rows := range map[string][]Gain{
		"none": nil, "zeros": {{Label: "as wired"}, {Label: "b"}}, "no numbers": {{"as wired", nan, nan, nan, ""}, {"b", inf, 0, inf, ""}},
		"far apart": {{"as wired", 1e-9, 0, 1e-9, ""}, {"b", 1e8, 0, 1e12, ""}}, "below": {{"as wired", -5, -6, -4, ""}},
	} {
		for _, needs := range []float64{0, 2, nan, inf} {
			t.Run(name, func(t *testing.T) { drawn(t, Gains("invented", "A", "needed", needs, rows, Wide)) })
		}
	}
	many := make([]Gain, 200)
	if svg := drawn(t, Gains("invented", "A", "needed", 1, many, Wide)); !strings.Contains(svg, "and 140 more") {
		t.Error("does not count what it leaves out")
	}
	var b bytes.Buffer
	if err := Gains("invented", "A", "needed", 2, rows, Wide).PNG(&b); err != nil {
		t.Fatal(err)
	}
	if _, err := png.Decode(&b); err != nil {
		t.Error(err)
	}
}
