package runfile

import (
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
)

func parsed(t *testing.T, from, to string) *run.Run {
	t.Helper()
	r, err := Parse("f.toml", []byte(strings.Replace(base, from, to, 1)))
	if err != nil {
		t.Fatal(err)
	}
	checkInvariants(t, r)
	return r
}

func same(t *testing.T, what string, got, want colour.XYZ) {
	t.Helper()
	if math.Abs(got.X-want.X)+math.Abs(got.Y-want.Y)+math.Abs(got.Z-want.Z) > 1e-9*want.Y {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// Each way of stating a channel's light, and what a file leaves out.
func TestPrimaries(t *testing.T) {
	r := parsed(t, `driver = "linear"`, `primaries = {red = {nanometres = 630, width_nanometres = 20}, green = {x = 0.2, y = 0.7, millicandela = 5}, blue = {millicandela = 7}}`)
	c := r.Reels[0].Strip.Channels
	same(t, "a peak with its width", c[0].Light, colour.Peak(630, 20).Light(usualLight["red"].millicandela))
	same(t, "a chromaticity", c[1].Light, colour.XY{X: 0.2, Y: 0.7}.Light(5))
	same(t, "an intensity alone", c[2].Light, usualLight["blue"].at.Light(7))

	r = parsed(t, `driver = "linear"`, `primaries = {red = {nanometres = 630}, green = {kelvin = 3000, duv = 0.002}, blue = {kelvin = 5000}}`)
	c = r.Reels[0].Strip.Channels
	same(t, "a peak", c[0].Light, colour.Peak(630, 25).Light(usualLight["red"].millicandela))
	same(t, "a white off the locus", c[1].Light, colour.White(3000, 0.002).Light(usualLight["green"].millicandela))
	same(t, "a white", c[2].Light, colour.White(5000, 0).Light(usualLight["blue"].millicandela))
}

// The assumed primaries: three chips whose white has a colour temperature in the usual range of
// such pixels (6000 K to 9000 K, common practice, no source), and a white channel of
// 4000 K.
func TestUsualPrimaries(t *testing.T) {
	r := parsed(t, `driver = "linear"`, `driver = "linear"`)
	var sum colour.XYZ
	for _, c := range r.Reels[0].Strip.Channels {
		sum = sum.Plus(c.Light)
	}
	kelvin, duv, ok := colour.Temperature(sum.UV())
	if !ok || kelvin < 6000 || kelvin > 9000 || math.Abs(duv) > 0.006 {
		t.Errorf("their white has %g K, Duv %g", kelvin, duv)
	}
	r = parsed(t, `channels = ["red", "green", "blue"]`, `channels = ["red", "green", "blue", "white"]`)
	if kelvin, _, _ := colour.Temperature(r.Reels[0].Strip.Channels[3].Light.UV()); math.Abs(kelvin-4000) > 1 {
		t.Errorf("the white channel has %g K", kelvin)
	}
}

// A reel may state some channels' light and inherits the others from the strip.
func TestReelsOwnPrimaries(t *testing.T) {
	strip := `primaries = {red = {nanometres = 630}, green = {nanometres = 520}}`
	src := strings.Replace(base, `driver = "linear"`, strip, 1)
	src = strings.Replace(src, `metres = 5.0`, "metres = 5.0\n[reel.primaries]\nred = {nanometres = 615}", 1)
	r, err := Parse("f.toml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	west, north := r.Reels[0].Strip.Channels, r.Reels[1].Strip.Channels
	same(t, "the strip's red", west[0].Light, colour.Peak(630, 25).Light(400))
	same(t, "the reel's red", north[0].Light, colour.Peak(615, 25).Light(400))
	same(t, "the strip's green on the reel", north[1].Light, colour.Peak(520, 25).Light(850))

	// A reel with fewer channels than the strip's table is not a fault.
	src = strings.Replace(base, `driver = "linear"`, strip, 1)
	src = strings.Replace(src, `metres = 5.0`, "metres = 5.0\nchannels = [\"green\"]", 1)
	src = strings.Replace(src, `channel_milliamps = 12.0`, "channel_milliamps = 12", 1)
	if _, err := Parse("f.toml", []byte(src)); err != nil {
		t.Error(err)
	}
}

func TestDimmingLimit(t *testing.T) {
	if got := parsed(t, "x", "x").Limits.Dimming; got != 0.30 {
		t.Errorf("left out, it is %g", got)
	}
	if got := parsed(t, "joint_milliohms = 15", "dimming_percent = 20").Limits.Dimming; math.Abs(got-0.2) > 1e-12 {
		t.Errorf("20 %% is %g", got)
	}
}
