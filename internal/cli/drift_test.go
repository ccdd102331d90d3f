package cli

import (
	"bytes"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
)

var spring = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

// board writes the readings of a story as a file, the joint being so much worse from a
// day on and remade on another.
func (s session) board(days int, worse float64, from, remade float64) {
	s.Helper()
	r := runtest.Parse(s, runtest.Gallery)
	story := months.Scenario{Begin: spring, Days: days, Every: 2 * time.Hour, Check: "check", CheckAt: 3 * time.Hour,
		Currents: true, TemperatureRead: true, DayCycle: 6, Season: 12, Sag: 0.1, Ageing: 0.1,
		Change: func(day float64, p *plant.Plant, _ *rand.Rand) {
			if day > from && day < remade {
				p.Joints[0].Plus += worse
			}
		}}
	var list []reading.Reading
	for x, err := range months.Readings(r, story, 3) {
		if err != nil {
			s.Fatal(err)
		}
		list = append(list, x)
	}
	var b bytes.Buffer
	if err := csv.Write(&b, list); err != nil {
		s.Fatal(err)
	}
	for name, text := range map[string]string{"gallery.toml": runtest.Gallery, "months.csv": b.String()} {
		s.write(name, text)
	}
}

func TestDriftFindsAStep(t *testing.T) {
	s := newParallelSession(t)
	s.board(90, 0.030, 40, 1e9)
	s.do("ohmkeep import gallery.toml months.csv --store g.db").exits(Passes)
	got := s.do("ohmkeep drift gallery.toml --store g.db --json").exits(Fails)
	drift := decoded(t, got.out)
	holds(t, drift, `{"schema":1,"run":"Gallery","series":[{"kind":"feed","name":"near","rail":"loop","first":"…","last":"…","milliohms":104.9,"low":104.1,"high":105.7,
		"milliohms_per_year":1.2,"per_year_low":0.1,"per_year_high":2.3,"changes":[],"reaches_limit":{},"verdict":"steady"}]}`)
	found := false
	for _, x := range drift["series"].([]any) {
		joint := x.(map[string]any)
		if joint["kind"] != "joint" {
			if joint["verdict"] != "steady" {
				t.Errorf("%v", joint)
			}
			continue
		}
		found = true
		changes := joint["changes"].([]any)
		if joint["name"] != "west-north" || joint["verdict"] != "stepped" || len(changes) != 1 {
			t.Fatalf("%v", joint)
		}
		change := changes[0].(map[string]any)
		at, err := time.Parse(time.RFC3339, change["time"].(string))
		if days := at.Sub(spring).Hours() / 24; err != nil || days < 37 || days > 43 || change["shape"] != "step" {
			t.Errorf("%v", change)
		}
		if size := change["after"].(float64) - change["before"].(float64); size < 25.5 || size > 34.5 {
			t.Errorf("a step of %g mΩ, not 30", size)
		}
		for _, key := range []string{"milliohms", "low", "high", "milliohms_per_year", "per_year_low", "per_year_high", "reaches_limit"} {
			if joint[key] == nil {
				t.Errorf("no %s", key)
			}
		}
	}
	if !found {
		t.Error("no joint")
	}
	table := s.do("ohmkeep drift gallery.toml --store g.db --report years.html --picture joint.png").exits(Fails)
	for _, part := range []string{"LOOK: joint west-north has jumped", "jump on 2026-04-09", "last check step 2026-05-29"} {
		if !strings.Contains(table.out, part) {
			t.Errorf("no %q in\n%s", part, table.out)
		}
	}
	for name, part := range map[string]string{"years.html": "<td>2026-04</td>", "joint.png": "PNG"} {
		if !strings.Contains(s.content(name), part) {
			t.Errorf("%s holds no %q", name, part)
		}
	}
}

// A repair that was noted begins a new stretch: what came before is reported beside it and
// no longer held against the joint.
// The README shows both.
func TestDriftAfterANote(t *testing.T) {
	readme := showtest.Readme(t)
	s := newSession(t)
	s.board(90, 0.030, 30, 60)
	s.do("ohmkeep import gallery.toml months.csv --store g.db").exits(Passes)
	before := decoded(t, s.do("ohmkeep drift gallery.toml --store g.db --json").exits(Fails).out)
	if n := len(joint(before)["changes"].([]any)); n != 2 {
		t.Errorf("%d changes without the note", n)
	}
	readme.Shows(t, "printed by drift before the note", ofJoint(s.do("ohmkeep drift gallery.toml --store g.db").exits(Fails).out))
	s.do(`ohmkeep note gallery.toml "re-made joint 1" --store g.db --at 2026-04-30T00:00:00Z`).exits(Passes).prints("concerns joint west-north")
	readme.Shows(t, "printed by drift after the note", ofJoint(s.do("ohmkeep drift gallery.toml --store g.db").exits(Passes).out))
	after := joint(decoded(t, s.do("ohmkeep drift gallery.toml --store g.db --json").exits(Passes).out))
	marks := after["marks"].([]any)
	if after["verdict"] != "steady" || len(marks) != 1 || len(after["changes"].([]any)) != 1 {
		t.Fatalf("%v", after)
	}
	mark := marks[0].(map[string]any)
	if fall := mark["before"].(float64) - mark["after"].(float64); mark["text"] != "re-made joint 1" || fall < 25 || fall > 35 {
		t.Errorf("%v", mark)
	}
}

// A note on a joint appears under that joint even where only the path across it is followed.
func TestNoteOnJointWithinPath(t *testing.T) {
	s := newSession(t)
	s.board(30, 0, 0, 0)
	var ends strings.Builder // what is sensed at the run's ends
	for line := range strings.Lines(s.content("months.csv")) {
		if !strings.Contains(line, "west.end") && !strings.Contains(line, "north.start") {
			ends.WriteString(line)
		}
	}
	s.write("months.csv", ends.String())
	s.do("ohmkeep import gallery.toml months.csv --store g.db").exits(Passes)
	without := s.do("ohmkeep drift gallery.toml --store g.db")
	if !strings.Contains(without.out, "path west.start-north.end") || joint(decoded(t, s.do("ohmkeep drift gallery.toml --store g.db --json").out)) != nil {
		t.Fatalf("the path is not followed alone:\n%s", without.out)
	}
	s.do(`ohmkeep note gallery.toml "re-made joint 1" --store g.db --at 2026-03-15T12:00:00Z`).exits(Passes).prints("concerns joint west-north")
	o := s.do("ohmkeep drift gallery.toml --store g.db").exits(without.status).prints("path west.start-north.end")
	if of := ofJoint(o.out); !strings.Contains(of, "followed only as a part of path west.start-north.end") || !strings.Contains(of, "2026-03-15, re-made joint 1") {
		t.Errorf("the note is not under its joint:\n%s", o.out)
	}
	marks := joint(decoded(t, s.do("ohmkeep drift gallery.toml --store g.db --json").out))["marks"].([]any)
	if len(marks) != 1 || marks[0].(map[string]any)["text"] != "re-made joint 1" {
		t.Errorf("%v", marks)
	}
	s.do(`ohmkeep note gallery.toml "re-made joint 1" --store g.db --withdraw`).exits(Passes)
	if o := s.do("ohmkeep drift gallery.toml --store g.db"); o.out != without.out {
		t.Errorf("withdrawn, and drift prints\n%s", o.out)
	}
}

// A note that names what the run does not have is refused with the names near it, and so is a
// date years ahead; the store stays as it is.
func TestNoteIsRefused(t *testing.T) {
	s := newSession(t)
	s.board(1, 0, 0, 0)
	s.do("ohmkeep import gallery.toml months.csv --store g.db").exits(Passes)
	for text, want := range map[string]string{
		"re-made joint wset-north":    `the run has no joint "wset-north" (did you mean "west-north"?)`,
		"re-made Joint south-east":    `the run has no joint "south-east" (known: west-north)`,
		"a new feed neer":             `the run has no feed "neer" (did you mean "near"?)`,
		"feed 2 renewed":              `the run has no feed "2" (known: near)`,
		"reel nroth is new":           `the run has no reel "nroth" (did you mean "north"?)`,
		"soldered west-nroth again":   `the run has no joint, feed or reel "west-nroth" (did you mean "west-north"?)`,
		"re-made joint 9":             "there is no joint 9: the run has 1",
		"joint 1, and joint west-est": `the run has no joint "west-est" (known: west-north)`,
	} {
		s.do(`ohmkeep note gallery.toml "` + text + `" --store g.db`).refused(want)
	}
	s.do(`ohmkeep note gallery.toml "re-made joint 1" --store g.db --at ` + time.Now().AddDate(10, 0, 0).Format(time.RFC3339)).refused("is in the future (when the work was done, at most now)")
	if o := s.do("ohmkeep note gallery.toml --store g.db"); !strings.Contains(o.out, "nothing is noted of Gallery") {
		t.Errorf("a refused note is kept:\n%s", o.out)
	}
	for text, want := range map[string]string{
		"re-tightened the feed's terminals": "the whole run", "re-made Joint WEST-NORTH": "joint west-north",
		"joint at the far end, re-made": "the whole run", "new reel north": "reel north, joint west-north",
	} {
		s.do(`ohmkeep note gallery.toml "` + text + `" --store g.db`).exits(Passes).prints("concerns " + want + "\n")
	}
}

func joint(drift map[string]any) map[string]any {
	for _, x := range drift["series"].([]any) {
		if s := x.(map[string]any); s["kind"] == "joint" {
			return s
		}
	}
	return nil
}

func TestDriftFaults(t *testing.T) {
	s := newSession(t)
	s.board(1, 0, 0, 0)
	s.do("ohmkeep drift gallery.toml").refused("wants --store FILE")
	s.do("ohmkeep drift gallery.toml --store none.db").refused("there is no such store")
	s.do("ohmkeep drift gallery.toml --store none.db --picture x.gif").refused("ends in .png or .svg")
	s.do("ohmkeep note gallery.toml x --store g.db --at yesterday").refused("is not a time")
	s.do(`ohmkeep note gallery.toml "re-made joint 9" --store g.db`).refused("there is no joint 9: the run has 1")
	s.do("ohmkeep note gallery.toml x --store gg.db").refused("gg.db: there is no such store")
	if _, err := os.Stat("gg.db"); !os.IsNotExist(err) {
		t.Errorf("a store was made of a slip: %v", err)
	}
	s.do("ohmkeep import gallery.toml months.csv --store g.db").exits(Passes)
	if got := s.do("ohmkeep drift gallery.toml --store g.db").exits(Unproven); !strings.Contains(got.out, "too few nights") {
		t.Errorf("%s", got.out)
	}
}

// ofJoint returns the lines of a table of drift that tell of its joint.
func ofJoint(table string) string {
	var lines []string
	for line := range strings.Lines(table) {
		if strings.Contains(line, "  joint west-north ") || len(lines) > 0 && strings.HasPrefix(line, "  ") {
			lines = append(lines, line)
		} else if len(lines) > 0 {
			break
		}
	}
	return strings.Join(lines, "")
}
