package cli

import (
	"flag"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"ohmkeep/internal/watch/storage/storagetest"
)

var damagedStores = flag.Bool("damaged", false, "the watch starts over every kind of damaged store, and not over a few")

// A store is damaged while the watch over it does not run. The watch starts, says so,
// keeps what comes, and what is left can be exported.
func TestWatchOverDamagedStore(t *testing.T) {
	whole := newParallelSession(t)
	written := storagetest.Fill(t, whole.path("shelf.db"))
	storagetest.Root(t, whole.path("shelf.db"), "")
	good := whole.content("shelf.db")
	for _, c := range []struct {
		name  string
		table string // whose root page is hit; "" = at
		at    int    // byte
		n     int    // bytes
		least int    // readings that are left
		quick bool   // run without -damaged too
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
		{name: "cut off", at: len(good) * 2 / 3, n: -1, least: written / 20, quick: true},
	} {
		if !c.quick && !*damagedStores {
			continue
		}
		t.Run(strings.ReplaceAll(c.name, " ", "-"), func(t *testing.T) {
			s := newParallelSession(t)
			pair := s.terminal()
			s.write("shelf.toml", shelf+board("cabinet", pair.Path))
			s.write("shelf.db", good)
			at := int64(c.at)
			if c.table != "" {
				page, size := storagetest.Root(t, s.path("shelf.db"), c.table)
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
			storagetest.LeaveLog(t, s.path("shelf.db"))
			if status := s.do(`ohmkeep store check shelf.db`).status; status != Fails {
				t.Errorf("the check exits %d before the watch", status)
			}

			w := s.watch("--commit", "50ms", "--analyse-after", "10ms")
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
			aside, _ := filepath.Glob(s.path("shelf.db.damaged-*"))
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
				s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("store damaged", "kept as "+filepath.Base(aside[0]))
				if status := s.do(`ohmkeep store check ` + aside[0]).status; status == Passes || len(aside) > 1 {
					t.Errorf("%v: check exits %d", aside, status)
				}
			}
			again := s.watch("--commit", "50ms")
			again.ends()
		})
	}
}

// Marks before and behind a damaged place are listed.
func TestMarksOfDamagedStore(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	storagetest.Fill(t, s.path("shelf.db"))
	_, page := storagetest.Root(t, s.path("shelf.db"), "")
	bad := []byte(s.content("shelf.db"))
	lose := func(at int) { clear(bad[at/int(page)*int(page):][:page]) }
	lose(len(bad) / 2) // it holds readings
	marks := regexp.MustCompile("nothing").FindAllIndex(bad, -1)
	lose(marks[len(marks)/2][0])
	s.write("shelf.db", string(bad))
	o := s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Wrong).says("the store is damaged")
	if n := strings.Count(o.out, "\n"); n < 900 || n >= 1030 || !strings.HasPrefix(o.out, "2026-03-01T00:00:20Z  note") ||
		!strings.Contains(o.out, "\n2026-03-01T05:43:20Z  note") {
		t.Errorf("%d marks of 1030", n)
	}
}
