package cli

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

var kills = flag.Int("kills", 3, "how often the watch is killed")

var storedCount = regexp.MustCompile(`ohmkeep_readings_total\{[^}]*\} (\d+)`)

// The watch is killed at random moments while a board sends. Each reading that it had
// confirmed is stored once; the store opens, and the next watch goes on.
func TestWatchKilled(t *testing.T) {
	s := newSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	addr := s.freeAddress()
	rng := rand.New(rand.NewPCG(5, 6))
	said, acknowledged := 0, 0 // acknowledged: readings that must be there
	var a tally
	for range *kills {
		program := process("watch", "shelf.toml", "--store", "shelf.db", "--commit", "20ms", "--listen", addr)
		var log bytes.Buffer
		program.Stderr = &log
		if err := program.Start(); err != nil {
			t.Fatal(err)
		}
		w := &watching{session: s, addr: addr, out: &watchtest.Log{}}
		w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
		before := acknowledged
		end := time.Now().Add(time.Duration(20+rng.IntN(80)) * time.Millisecond)
		for time.Now().Before(end) {
			for range 20 {
				said++
				s.say(pair, fmt.Sprintf("1,%d.5,V\n", said))
			}
			if _, text := w.ask("GET", "/metrics", ""); storedCount.MatchString(text) {
				n, _ := strconv.Atoi(storedCount.FindStringSubmatch(text)[1]) // it is digits
				acknowledged = before + n
			}
		}
		if err := program.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = program.Wait() // it was killed
		s.do(`ohmkeep status --store shelf.db`).exits(Fails).prints("no watch runs", "the last was ohmkeep watch shelf.toml", "was cut off")
		s.say(pair, "\n") // ends a line that was cut off

		out := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		a.tried++
		last := 0
		for _, row := range rows[1:] {
			n, _ := strconv.Atoi(strings.TrimSuffix(row[5], ".5"))
			switch {
			case n == last:
				a.doubled++
			case n < last || n > said || row[3] != "left.start+":
				a.misplaced++
			}
			last = n
		}
		a.lost += max(0, acknowledged-(len(rows)-1))
		if len(rows)-1 < acknowledged {
			t.Fatalf("%d stored, %d acknowledged\n%s", len(rows)-1, acknowledged, log.String())
		}
		acknowledged = len(rows) - 1
	}
	a.print(t, "the watch killed")
	if acknowledged < 20**kills {
		t.Errorf("only %d readings were acknowledged", acknowledged)
	}
}
