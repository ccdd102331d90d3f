package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/store"
)

// What happened between readings is in the store: starts, a board that restarts,
// one that is unplugged and back, the end. After a start the ages go on.
func TestWatchMarks(t *testing.T) {
	s := newParallelSession(t)
	pair := s.terminal()
	place := filepath.Join(t.TempDir(), "by-id")
	plug := func(path string) {
		t.Helper()
		if err := os.Symlink(path, place+".next"); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(place+".next", place); err != nil {
			t.Fatal(err)
		}
	}
	plug(pair.Path)
	s.write("shelf.toml", shelf+board("cabinet", place))
	w := s.watch("--commit", "50ms")
	s.say(pair, "# serial 7\n1,4.5,V\n2,1,A\n# serial 7\n1,4.812,V\n")
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 3`)
	next := s.terminal()
	if err := os.Remove(place); err != nil { // the terminal's number may soon be that of another test's
		t.Fatal(err)
	}
	if err := pair.Device.Close(); err != nil {
		t.Fatal(err)
	}
	w.shows(`ohmkeep_probe_up{probe="cabinet",run="Book shelf"} 0`)
	plug(next.Path)
	w.shows(`ohmkeep_probe_up{probe="cabinet",run="Book shelf"} 1`)
	w.ends()

	again := s.watch("--commit", "50ms")
	s.do(`ohmkeep status --store shelf.db`).prints("4.812 V", "1 A", "The watch is well.")
	if status, text := again.ask("GET", "/status", ""); status != 200 || strings.Contains(text, `"last_good_age_seconds":null`) {
		t.Errorf("%d %s", status, text)
	}
	again.ends()

	kept, err := store.OpenReadOnly(s.path("shelf.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	marks, err := kept.Marks(t.Context(), "Book shelf", time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for _, m := range marks {
		switch {
		case m.Kind == store.MarkClock: // this machine's clock may be any
			continue
		case m.Kind == store.MarkGap && !strings.HasPrefix(m.Text, "since 20"), m.Kind == store.MarkLost && m.Text == "":
			t.Errorf("%+v", m)
		}
		kinds = append(kinds, strings.TrimSuffix(m.Kind+" "+m.Subject, " "))
	}
	want := "boot, restart, restart cabinet, lost cabinet, gap cabinet, stop, restart, stop"
	if got := strings.Join(kinds, ", "); got != want {
		t.Errorf("marked %s\nwanted %s\n%s", got, want, w.out)
	}
}

// What is simulated is stored only where that is said, and status says so too.
func TestWatchSimulated(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf+board("cabinet", "simulated"))
	s.do(`ohmkeep watch shelf.toml --store shelf.db`).refused("simulated values are not measured (--simulated stores them nevertheless")
	w := s.watch("--commit", "50ms", "--simulated")
	w.until("stored", func() bool {
		_, text := w.ask("GET", "/status", "")
		return !strings.Contains(text, `"readings":0`)
	})
	s.do(`ohmkeep status --store shelf.db`).prints("probe cabinet is simulated: its values were not measured")
	w.ends()
}

// What happened can be listed: what the watch marked and what people noted.
func TestNoteLists(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep note shelf.toml --store shelf.db`).refused("shelf.db: there is no such store")
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("shelf.db: nothing is noted of Book shelf\n")
	s.do(`ohmkeep note shelf.toml --store shelf.db --json`).exits(Passes).prints(`{"marks":[],"run":"Book shelf","schema":1}`)
	s.do(`ohmkeep note shelf.toml "re-made joint 1" --store shelf.db --at 2026-11-20T16:00:00+01:00`).exits(Passes)
	kept, err := store.Open("shelf.db")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range []store.Mark{
		{Time: time.Date(2026, 11, 1, 3, 0, 0, 0, time.UTC), Kind: store.MarkLost, Subject: "cabinet", Text: "unplugged\x1b[2J"},
		{Time: time.Date(2026, 11, 1, 4, 0, 0, 0, time.UTC), Kind: store.MarkGap, Subject: "cabinet", Text: "since 2026-11-01T03:00:00Z: "},
		{Time: time.Date(2026, 11, 2, 4, 0, 0, 0, time.UTC), Kind: "other"},
	} {
		if err := kept.Mark(t.Context(), "Book shelf", m); err != nil {
			t.Fatal(err)
		}
	}
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}
	o := s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes)
	lines := strings.Split(strings.TrimSpace(o.out), "\n")
	if len(lines) != 4 || strings.Contains(o.out, "\x1b") {
		t.Fatalf("%q", o.out)
	}
	for i, want := range []string{"2026-11-01T03:00:00Z  lost                cabinet  unplugged", "2026-11-01T04:00:00Z  gap ended           cabinet  since",
		"2026-11-02T04:00:00Z  other", "2026-11-20T16:00:00+01:00  note                re-made joint 1"} {
		if !strings.HasPrefix(lines[i], want) {
			t.Errorf("line %q, want %q", lines[i], want)
		}
	}
	marks := decoded(t, s.do(`ohmkeep note shelf.toml --store shelf.db --json`).exits(Passes).out)["marks"].([]any)
	holds(t, marks[3].(map[string]any), `{"time":"","kind":"","subject":"","text":""}`)
	if m := marks[3].(map[string]any); m["kind"] != "note" || m["text"] != "re-made joint 1" || m["time"] != "2026-11-20T16:00:00+01:00" {
		t.Errorf("%v", m)
	}
	s.do(`ohmkeep note shelf.toml --store shelf.db --at 2026-11-20T16:00:00+01:00`).refused("--at wants a TEXT to note")
	s.do(`ohmkeep note shelf.toml "text" --store shelf.db --json`).refused("takes no TEXT")
}
