package cli

import (
	"context"
	"database/sql"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
)

// months fills a store with what a board said, in chunks and in the tail.
func (s session) months(path string) (readings int) {
	s.Helper()
	kept, err := store.Open(path)
	if err != nil {
		s.Fatal(err)
	}
	w, err := kept.Writer(s.Context(), store.Owner{Name: "test"})
	if err != nil {
		s.Fatal(err)
	}
	var channels []store.Handle
	for _, c := range []store.Channel{
		{Run: "Book shelf", Probe: "cabinet", Quantity: run.Voltage, From: "left.start+", To: "left.start-", Unit: "V", Meter: "plain-lines"},
		{Run: "Book shelf", Probe: "cabinet", Quantity: run.Current, From: "near", Unit: "mA", Meter: "plain-lines"},
	} {
		h, err := w.Channel(c)
		if err != nil {
			s.Fatal(err)
		}
		channels = append(channels, h)
	}
	random := rand.New(rand.NewPCG(3, 4))
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	const commits, scans = 1030, 20 // four folds, and a tail
	for range commits {
		var samples []store.Sample
		for range scans {
			at = at.Add(time.Second)
			samples = append(samples, store.Sample{Channel: channels[0], Time: at, Text: fmt.Sprintf("4.%03d", 500+random.IntN(400))},
				store.Sample{Channel: channels[1], Time: at, Text: fmt.Sprint(2000 + random.IntN(400))})
		}
		if err := w.Append(context.Background(), samples, store.RunMark{Run: "Book shelf",
			Mark: store.Mark{Time: at, Kind: "note", Text: "nothing"}}); err != nil {
			s.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		s.Fatal(err)
	}
	if err := kept.Close(); err != nil {
		s.Fatal(err)
	}
	return commits * scans * len(channels)
}

// pages gives the pages of a table or index of a store, its root first.
func (s session) root(path, name string) (page, size int64) {
	s.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		s.Fatal(err)
	}
	defer db.Close()
	// Nothing may be left in the log: what is there hides what is in the file.
	if _, err := db.Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		s.Fatal(err)
	}
	if name != "" {
		if err := db.QueryRow("SELECT rootpage FROM sqlite_schema WHERE name = ?", name).Scan(&page); err != nil {
			s.Fatal(err)
		}
	}
	if err := db.QueryRow("PRAGMA page_size").Scan(&size); err != nil {
		s.Fatal(err)
	}
	return page, size
}

// A store is damaged while the watch over it does not run. The watch starts, says so,
// keeps what comes, and what is left can be exported.
func TestWatchOverDamagedStore(t *testing.T) {
	defer func(d time.Duration) { service.AnalyseAfter = d }(service.AnalyseAfter)
	service.AnalyseAfter = 10 * time.Millisecond
	whole := newSession(t)
	written := whole.months("shelf.db")
	whole.root("shelf.db", "")
	good := whole.content("shelf.db")
	for _, c := range []struct {
		name  string
		table string // whose root page is hit; "" = at
		at    int    // byte
		n     int    // bytes
		least int    // readings that are left
	}{
		{name: "in the middle of the chunks", at: len(good) / 2, n: 1024, least: written / 2},
		{name: "much of the middle", at: len(good) / 3, n: len(good) / 4, least: written / 20},
		{name: "the tail", table: "tail", n: 1024, least: written / 2},
		{name: "the index of the chunks", table: "chunk_series", n: 1024, least: written / 2},
		{name: "the chunks' root", table: "chunk", n: 1024},
		{name: "the series", table: "series", n: 1024, least: written},
		{name: "the marks", table: "mark", n: 1024, least: written},
		{name: "the starts", table: "boot", n: 1024, least: written},
		{name: "the table of tables", at: 100, n: 924},
		{name: "the head", at: 0, n: 64, least: written},
		{name: "the whole first page", at: 0, n: 1024},
		{name: "cut off", at: len(good) * 2 / 3, n: -1, least: written / 20},
	} {
		t.Run(strings.ReplaceAll(c.name, " ", "-"), func(t *testing.T) {
			s := newSession(t)
			pair := s.terminal()
			s.write("shelf.toml", shelf+board("cabinet", pair.Path))
			s.write("shelf.db", good)
			at := int64(c.at)
			if c.table != "" {
				page, size := s.root("shelf.db", c.table)
				at = (page - 1) * size
			}
			bad := []byte(s.content("shelf.db"))
			if c.n < 0 {
				bad = bad[:at]
			}
			random := rand.New(rand.NewPCG(uint64(at), 9))
			for i := range max(c.n, 0) {
				bad[int(at)+i] = byte(random.Uint32())
			}
			s.write("shelf.db", string(bad))
			_ = os.Remove("shelf.db-shm")
			// The log that a watch keeps, as it is after a restart of the machine.
			s.write("shelf.db-wal", "\x37\x7f\x06\x82"+strings.Repeat("\x00", 4092))
			if status := s.do(`ohmkeep store check shelf.db`).status; status != Fails {
				t.Errorf("the check exits %d before the watch", status)
			}

			w := s.watch("--commit", "50ms")
			s.say(pair, "1,4.8125,V\n")
			w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 1`)
			w.until("told in the status", func() bool {
				o := s.do(`ohmkeep status --store shelf.db`)
				return strings.Contains(o.out, "shelf.db is damaged: ") || strings.Contains(o.out, "shelf.db was damaged and is kept as shelf.db.damaged-")
			})
			if status, text := w.ask("GET", "/healthz", ""); status != 200 {
				t.Errorf("healthz: %d %s", status, text)
			}
			w.shows(`ohmkeep_store_damaged{run="Book shelf"} 1`)
			w.ends()
			if !strings.Contains(w.out.String(), "the store is damaged") {
				t.Errorf("the log:\n%s", w.out)
			}

			o := s.do(`ohmkeep export shelf.toml --store shelf.db`)
			rows := strings.Count(o.out, "\n") - 1
			if !strings.Contains(o.out, ",4.8125,") {
				t.Errorf("what came after is lost: %d rows, %s", rows, o.faults)
			}
			t.Logf("%d of %d readings are left, %s", rows-1, written, o.faults)
			if rows-1 < c.least {
				t.Errorf("%d of %d readings are left\n%s", rows-1, written, o.faults)
			}
			text := s.do(`ohmkeep export shelf.toml --store shelf.db --format openmetrics`).out
			if n := strings.Count(text, "\nohmkeep_"); n != rows || !strings.HasSuffix(text, "\n# EOF\n") {
				t.Errorf("%d rows are left, and %d samples", rows, n)
			}
			aside, _ := filepath.Glob("shelf.db.damaged-*")
			for i := 0; i < len(aside); i++ {
				if strings.HasSuffix(aside[i], "-wal") || strings.HasSuffix(aside[i], "-shm") {
					aside = append(aside[:i], aside[i+1:]...)
					i--
				}
			}
			switch check := s.do(`ohmkeep store check shelf.db`); {
			case len(aside) == 0:
				check.exits(Fails)
				if o.status != Wrong && rows-1 < written {
					t.Errorf("an export with %d of %d readings says nothing", rows-1, written)
				}
			default:
				check.exits(Passes)
				s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("store damaged", "kept as "+aside[0])
				if status := s.do(`ohmkeep store check ` + aside[0]).status; status == Passes || len(aside) > 1 {
					t.Errorf("%v: check exits %d", aside, status)
				}
			}
			again := s.watch("--commit", "50ms")
			again.ends()
		})
	}
}

// A file that is damaged as soon as it is made anew is not put aside again at once.
func TestRescuesAreApart(t *testing.T) {
	s := newSession(t)
	s.months("shelf.db")
	now := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	k := &keeping{path: "shelf.db", owner: store.Owner{Name: "test"}, run: "Book shelf", log: slog.New(slog.DiscardHandler), now: func() time.Time { return now }}
	spoil := func() {
		t.Helper()
		b := []byte(s.content("shelf.db"))
		clear(b[:512])
		s.write("shelf.db", string(b))
		_ = os.Remove("shelf.db-shm")
		s.write("shelf.db-wal", "\x37\x7f\x06\x82"+strings.Repeat("\x00", 4092))
	}
	spoil()
	if err := k.open(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := k.close(); err != nil {
		t.Fatal(err)
	}
	spoil()
	if err := k.open(t.Context()); !store.Damaged(err) {
		t.Errorf("at once: %v", err)
	}
	if err := k.Keep(t.Context(), recorder.Batch{}); !store.Damaged(err) {
		t.Errorf("and with a batch: %v", err)
	}
	now = now.Add(betweenRescues)
	time.Sleep(time.Second) // the names of what is put aside tell seconds
	if err := k.Keep(t.Context(), recorder.Batch{}); err != nil {
		t.Errorf("later: %v", err)
	}
	if err := k.close(); err != nil {
		t.Fatal(err)
	}
	if notes := k.notes(); len(notes) != 1 || !strings.Contains(notes[0], "kept as shelf.db.damaged-") {
		t.Errorf("%q", notes)
	}
}

// A night goes on over what is left of a damaged store.
func TestNightOverDamagedStore(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf+board("cabinet", "/dev/absent"))
	s.months("shelf.db")
	_, page := s.root("shelf.db", "")
	bad := []byte(s.content("shelf.db"))
	lose := func(at int) { clear(bad[at/int(page)*int(page):][:page]) }
	lose(len(bad) / 2) // it holds readings
	marks := regexp.MustCompile("nothing").FindAllIndex(bad, -1)
	lose(marks[len(marks)/2][0])
	s.write("shelf.db", string(bad))
	e, err := loadRun("shelf.toml")
	if err != nil {
		t.Fatal(err)
	}
	k := &keeping{path: "shelf.db", owner: store.Owner{Name: "test"}, run: e.Name, log: slog.New(slog.DiscardHandler), now: time.Now}
	if err := k.open(t.Context()); err != nil {
		t.Fatal(err)
	}
	defer k.close()
	if _, err := k.nightly(t.Context(), recorder.Plan{Run: e.Run}); err != nil {
		t.Error(err)
	}
	if notes := k.notes(); len(notes) != 1 || !strings.HasPrefix(notes[0], "shelf.db is damaged: the store is damaged: ") {
		t.Errorf("%q", notes)
	}
	// Marks were lost too: those before and behind it are listed.
	o := s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Wrong).says("the store is damaged")
	if n := strings.Count(o.out, "\n"); n < 900 || n >= 1030 || !strings.HasPrefix(o.out, "2026-03-01T00:00:20Z  note") ||
		!strings.Contains(o.out, "\n2026-03-01T05:43:20Z  note") {
		t.Errorf("%d marks of 1030", n)
	}
	err = k.use(func(kept *store.Store) error { // as it was with this store, without going past
		for _, err := range kept.Readings(t.Context(), e.Name, store.Filter{}) {
			if err != nil {
				return err
			}
		}
		return nil
	})
	if !store.Damaged(err) {
		t.Errorf("the damage is not among the readings: %v", err)
	}
}

// All of a store is read after the start and then once a week, however often it is
// analysed: a card wears and a store grows.
func TestStoreIsCheckedOnceAWeek(t *testing.T) {
	newSession(t)
	now := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	k := &keeping{path: "week.db", run: "Book shelf", log: slog.New(slog.DiscardHandler), now: func() time.Time { return now },
		owner: store.Owner{Name: "test"}}
	if err := k.open(t.Context()); err != nil {
		t.Fatal(err)
	}
	defer k.close()
	begun := now
	for day, want := range map[int]time.Time{0: begun, 6: begun, 7: begun.AddDate(0, 0, 7)} {
		k.checked = time.Time{}
		now = begun
		k.check(t.Context())
		now = begun.AddDate(0, 0, day)
		k.check(t.Context())
		if !k.checked.Equal(want) {
			t.Errorf("on day %d the newest check is of %v, not %v", day, k.checked, want)
		}
	}
}
