package command

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/store"
)

// What happened between readings is in the store: starts, a board that begins anew,
// one that is unplugged and back, the end. After a start the ages go on.
func TestWatchMarks(t *testing.T) {
	s := newSession(t)
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
	w.shows(`ohmkeep_readings_total{run="Book shelf",probe="cabinet"} 3`)
	next := s.terminal()
	plug(next.Path)
	if err := pair.Device.Close(); err != nil {
		t.Fatal(err)
	}
	w.shows(`ohmkeep_probe_up{run="Book shelf",probe="cabinet"} 0`)
	w.shows(`ohmkeep_probe_up{run="Book shelf",probe="cabinet"} 1`)
	w.ends()

	again := s.watch("--commit", "50ms")
	s.do(`ohmkeep status --store shelf.db`).prints("4.812 V", "1 A", "Book shelf: well")
	if status, text := again.ask("GET", "/status", ""); status != 200 || strings.Contains(text, `"last_good_age_seconds":null`) {
		t.Errorf("%d %s", status, text)
	}
	again.ends()

	kept, err := store.OpenReadOnly("shelf.db")
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
	s := newSession(t)
	s.write("shelf.toml", shelf+board("cabinet", "simulated"))
	s.do(`ohmkeep watch shelf.toml --store shelf.db`).refused("what is simulated was not measured (--simulated stores it nevertheless")
	w := s.watch("--commit", "50ms", "--simulated")
	w.until("stored", func() bool {
		_, text := w.ask("GET", "/status", "")
		return !strings.Contains(text, `"readings":0`)
	})
	s.do(`ohmkeep status --store shelf.db`).prints("probe cabinet is simulated: nothing it says was measured")
	w.ends()
}
