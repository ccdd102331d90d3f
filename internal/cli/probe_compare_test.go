package cli

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
)

// loads is a simulated load that changes with the answers of a person: each read of an answer sets the next one.
type loads struct {
	amps   []float64
	at     atomic.Int64
	meters []*atomic.Int64 // how many pictures each meter has made
}

// Read sets the next load and gives an answer, Enter, once every meter has sent a picture of it; at the end "d".
func (l *loads) Read(buffer []byte) (int, error) {
	if l.at.Add(1) > int64(len(l.amps)) {
		return copy(buffer, "d\n"), nil
	}
	for _, made := range l.meters {
		for before := made.Load(); made.Load() < before+3; { // the one in hand, that of the load, and the one behind it
			time.Sleep(time.Millisecond)
		}
	}
	return copy(buffer, "\n"), nil
}

func (l *loads) now() float64 { return l.amps[max(0, min(int(l.at.Load()), len(l.amps))-1)] }

const benchAndClamp = `[[meter]]
name = "bench amps"
  [[meter.range]]
  quantity = "current"
  up_to = 20
  resolution = 0.001
  percent = 0.1
  counts = 3
[[meter]]
name = "clamp amps"
  [[meter.range]]
  quantity = "current"
  up_to = 20
  resolution = 0.001
  percent = 3
  counts = 5
  [[meter.range]]
  quantity = "current"
  up_to = 200
  resolution = 0.01
  percent = 4
  counts = 5
`

func carried(name, profile, port, meter string) string {
	return fmt.Sprintf("[[probe]]\nname = %q\nprofile = %q\nport = %q\nmeter = %q\n  [[probe.channel]]\n  id = \"display\"\n  quantity = \"current\"\n", name, profile, port, meter)
}

// Two handheld meters at the same feed: the printed meter is part of a valid run file and carries the gain and offset
// of the simulated clamp.
func TestProbeCompare(t *testing.T) {
	s := newParallelSession(t)
	load := &loads{amps: []float64{0.5, 3, 10}}
	shows := func(gain, offset float64) string {
		made := &atomic.Int64{}
		load.meters = append(load.meters, made)
		return terminal(t, func(p *devices.Pair) runner {
			return devices.NewHandheld(p, func() []byte {
				made.Add(1)
				return devices.CharacterPicture(fmt.Sprintf("%06.3f", gain*load.now()+offset), "A", "DC")
			}, 40*time.Millisecond)
		})
	}
	s.write("shelf.toml", shelf+"\n"+benchAndClamp+carried("clamp", "es51922", shows(1.04, -0.05), "clamp amps")+carried("bench", "es51922", shows(1, 0), "bench amps"))
	var out, faults strings.Builder
	compared := func() int {
		load.at.Store(0)
		out.Reset()
		return Run(t.Context(), []string{"probe", "compare", s.path("shelf.toml"), "clamp", "bench"}, load, &out, &faults)
	}
	exit := compared()
	text := out.String()
	if exit != Fails || !strings.Contains(text, "clamp against bench, range to 20 A: 9 pairs, 0.5 to 10 A\n  they differ by up to 0.0") ||
		!strings.Contains(text, "gain   1.04 (1.0") || !strings.Contains(text, "offset -0.05 (-0.05") || !strings.Contains(faults.String(), "clamp 03.070 A, bench 03.000 A") {
		t.Fatalf("exits %d and prints\n%s\n%s", exit, text, faults.String())
	}
	_, corrected, _ := strings.Cut(text, "run file; it was compared with bench.\n")
	i, j := strings.Index(benchAndClamp, "[[meter]]\nname = \"clamp"), len(benchAndClamp)
	file := strings.Replace(s.content("shelf.toml"), benchAndClamp[i:j], corrected, 1)
	if !strings.Contains(corrected, "  gain = 1.04\n  offset = -0.05\n") || strings.Count(corrected, "gain") != 1 || !strings.Contains(corrected, "up_to = 200\n") {
		t.Errorf("corrected\n%s", corrected)
	}
	s.write("shelf.toml", file)
	s.do(`ohmkeep predict shelf.toml`).exits(Passes)

	// With the correction they agree.
	if exit := compared(); exit != Passes || !strings.Contains(out.String(), "they agree within the accuracies of both") {
		t.Errorf("exits %d and prints\n%s", exit, out.String())
	}
}

// Values without a cable are typed.
func TestProbeCompareTyped(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf+"\n"+benchAndClamp)
	s.answer("\n1.05\n1.00\n\nx\n3.15\n3.00\n\n6.3\n6.0\nd\n", `ohmkeep probe compare shelf.toml "clamp amps" "bench amps"`).exits(Fails).
		prints("clamp amps against bench amps, range to 20 A: 3 pairs, 1 to 6 A", "gain   1.05 (").says(`"x" is not a decimal number`)
	s.answer("\n1.01\n1.00\n", `ohmkeep probe compare shelf.toml "clamp amps" "bench amps"`).exits(Unproven).
		prints("they agree within the accuracies of both", "not enough readings to tell gain from offset")
	s.answer("", `ohmkeep probe compare shelf.toml "clamp amps" "bench amps"`).exits(Unproven).says("no pair of values was read")
	s.do(`ohmkeep probe compare shelf.toml clamp "bench amps"`).refused(`shelf.toml: no probe or meter "clamp" measures a current (known: bench, bench amps, clamp amps)`)
	s.do(`ohmkeep probe compare shelf.toml "clamp amps" "clamp amps"`).refused(`wants two instruments, not "clamp amps" twice`)
	s.do(`ohmkeep probe compare shelf.toml "clamp amps" "bench amps" --quantity amps`).refused(`--quantity: "amps" is not a quantity`)
}
