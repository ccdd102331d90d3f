package cli

import (
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
)

// talking plays a handheld meter of the chip ES51922, which shows 1.8120 V.
func talking(t *testing.T) string {
	return terminal(t, func(p *devices.Pair) runner {
		return devices.NewHandheld(p, func() []byte { return devices.CharacterPicture("1.8120", "V", "DC") }, 5*time.Millisecond)
	})
}

// What find prints is the end of a valid run file, and a port that the run file names is not searched again.
func TestProbeFind(t *testing.T) {
	s := newParallelSession(t)
	hand, board := talking(t), sensor(t)
	s.write("shelf.toml", shelf+"\n")
	o := s.hears(`ohmkeep probe find shelf.toml --seconds SECONDS --listen-only --port `+hand+` --port `+board, Passes,
		"# This seems to be: Handheld meter with the chip ES51922 (", "name = \"hand meter\"\nprofile = \"es51922\"\nport = \""+hand+"\"\n",
		"  id = \"display\"\n  quantity = \"voltage\"   # now: 1.8120 V\n", "profile = \"plain-lines\"", "quantity = \"current\"   # now: 1.2500 A\n").says("searching 2 ports")
	s.write("shelf.toml", shelf+"\n"+o.out)
	s.hears(`ohmkeep probe check shelf.toml "hand meter" --seconds SECONDS`, Passes, "display voltage 1.8120 V")
	s.hears(`ohmkeep probe find shelf.toml --seconds SECONDS --listen-only --port `+hand, Passes, `name = "hand meter 2"`)

	silent := s.terminal()
	s.do(`ohmkeep probe find --seconds 0.01 --listen-only --port `+silent.Path+` --port nowhere`).exits(Fails).
		prints("# "+silent.Path+": nothing was received, and it was not asked.\n", "# nowhere: not searched: port nowhere: no such file or directory")
	s.do(`ohmkeep probe find --seconds 0`).refused("--seconds 0 is not between 0 and 3600")
	s.do(`ohmkeep probe find none.toml`).refused("none.toml: no such file or directory")
}

// A new run file has what was found at its end; a survey carries a meter that the run file does not name.
func TestNewAndSurveyFind(t *testing.T) {
	s := newParallelSession(t)
	hand := talking(t)
	s.do(`ohmkeep new --reels 4 --find=` + hand + ` --out found.toml`).exits(Passes)
	if text := s.content("found.toml"); !strings.Contains(text, `profile = "es51922"`) || !strings.Contains(text, `port = "`+hand+`"`) {
		t.Error(text)
	}
	s.do(`ohmkeep predict found.toml`).exits(Passes)

	s.write("shelf.toml", shelf+"\n")
	o := s.answer(strings.Repeat("\n", 3), `ohmkeep survey shelf.toml --find=`+hand+` --store found.db --step dark`)
	o.says("carried: es51922 on " + hand + ". This seems to be: Handheld meter with the chip ES51922")
	s.do(`ohmkeep export shelf.toml --store found.db`).exits(Passes).prints(",1.8120,V,es51922\n")
}
