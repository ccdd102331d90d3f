package cli

import (
	"context"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
)

// mute is an instrument that sends nothing.
type mute struct{}

func (mute) Run(ctx context.Context) error { <-ctx.Done(); return nil }

// silentPort returns the port of a mute instrument, and lets the survey say so after a short time.
func silentPort(t *testing.T) string {
	before := silence
	silence = 20 * time.Millisecond
	t.Cleanup(func() { silence = before })
	return terminal(t, func(*devices.Pair) runner { return mute{} })
}

// While a carried meter is silent the survey says so, and every answer works: Enter tries again, a typed value
// counts, s leaves out, and p and the end of input end the walk.
func TestSurveyWithSilentMeter(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"hand\"\nprofile = \"fs9721\"\nport = \""+silentPort(t)+
		"\"\n[[probe.channel]]\nid = \"display\"\nquantity = \"voltage\"\n")
	o := s.answer("\n\n\n5.083\n0.31\n\ns\n\nn dim here\n\np\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).prints("2 readings stored").
		says("nothing comes from probe hand: is it switched on, connected and set to voltage?", "Or type what your own meter shows, in V.",
			"left.start+ left.start-: left out, as asked", "noted", "Paused. The same command goes on.")
	if n := strings.Count(o.faults, "nothing comes"); n != 5 {
		t.Errorf("said %d times\n%s", n, o.faults)
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",A+,A-,5.083,V,bench\n")
	s.answer("\n\n", `ohmkeep survey shelf.toml --store other.db --all --step dark`).exits(Passes).prints("0 readings stored").says("nothing comes from probe hand")
}

// While a fixed board is silent the survey says so; s leaves out what it reads, and p pauses.
func TestSurveyWithSilentBoard(t *testing.T) {
	s := newSession(t)
	s.write("quick.toml", plain)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"quick.toml\"\nport = \""+silentPort(t)+
		"\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	const said = "nothing comes from probe board: is it switched on and connected?"
	s.answer("\n\ns\n5.083\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).prints("1 reading stored").
		says(said, `the current of feed "near": left out, nothing came from probe board`)
	s.answer("\np\n", `ohmkeep survey shelf.toml --store other.db --all --step dark`).exits(Passes).prints("0 readings stored").says(said, "Paused.")
	s.answer("\n", `ohmkeep survey shelf.toml --store third.db --all --step dark`).exits(Passes).prints("0 readings stored").says(said)
}
