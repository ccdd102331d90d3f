package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

// A meter with a known error gives the same resistances as one without, where the run file states the error; without
// it they are wrong. The store keeps what was shown.
func TestCorrectedMeter(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	const gain, offset = 1.06, -0.03
	var distorted strings.Builder
	amps := ""
	for line := range strings.Lines(s.content("readings.csv")) {
		part := strings.Split(line, ",")
		if part[2] == "current" {
			shown, err := strconv.ParseFloat(part[5], 64)
			if err != nil || part[6] != "A" {
				t.Fatalf("%s: %v", line, err)
			}
			part[5] = fmt.Sprintf("%.4f", gain*shown+offset)
			amps = part[5]
		}
		distorted.WriteString(strings.Join(part, ","))
	}
	s.write("distorted.csv", distorted.String())
	stated := strings.Replace(s.content("shelf.toml"), "quantity = \"current\"\n", fmt.Sprintf("quantity = \"current\"\ngain = %g\noffset = %g\n", gain, offset), 1)
	s.write("stated.toml", stated)
	ohms := func(runFile, readings string) float64 {
		return element(t, s.do(`ohmkeep assess `+runFile+` `+readings+` --json`).out, "feed", "near")["milliohms"].(float64)
	}
	plain, corrected, wrong := ohms("shelf.toml", "readings.csv"), ohms("stated.toml", "distorted.csv"), ohms("shelf.toml", "distorted.csv")
	if math.Abs(corrected-plain) > 0.003*plain || math.Abs(wrong-plain) < 3*math.Abs(corrected-plain) {
		t.Errorf("%g mΩ, corrected %g mΩ, not corrected %g mΩ", plain, corrected, wrong)
	}
	s.do(`ohmkeep import stated.toml distorted.csv --store shelf.db`).exits(Passes)
	s.do(`ohmkeep export stated.toml --store shelf.db`).exits(Passes).prints("," + amps + ",A,")

	for text, want := range map[string]string{"gain = 3": "gain: 3 is out of range (0.5 to 2)", "offset = 2000": "offset: 2000 is out of range (-1000 to 1000)"} {
		s.write("wrong.toml", strings.Replace(s.content("shelf.toml"), "quantity = \"current\"\n", "quantity = \"current\"\n"+text+"\n", 1))
		s.do(`ohmkeep predict wrong.toml`).exits(Wrong).says("meter.range." + want)
	}
}
