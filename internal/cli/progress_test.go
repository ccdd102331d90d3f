package cli

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

// shown is what a work of some length shows at a quick pace.
func shown(terminal bool, lasts time.Duration) string {
	out := &watchtest.Log{}
	w := &work{to: out, terminal: terminal, what: "reading shelf.db", thing: "reading", begun: time.Now(), end: make(chan struct{})}
	w.count()
	w.ended.Go(func() { w.show(progressPace{20 * time.Millisecond, 10 * time.Millisecond, 20 * time.Millisecond}, nil) })
	time.Sleep(lasts)
	w.done()
	return out.String()
}

func TestProgress(t *testing.T) { synctest.Test(t, testProgress) }

func testProgress(t *testing.T) {
	if text := shown(true, 0) + shown(false, 0); text != "" {
		t.Errorf("of short work is shown %q", text)
	}
	const line = "reading shelf.db: 1 reading, 0 s so far"
	text := shown(true, 205*time.Millisecond) // drawn after 20, 30, … 200 ms
	if n := strings.Count(text, "\r\x1b[K"+line); n != 19 || strings.Contains(text, "\n") || !strings.HasSuffix(text, line+"\r\x1b[K") {
		t.Errorf("on a terminal is shown %q", text)
	}
	// Lines after 20, 40, 80, 160 and 320 ms.
	text = shown(false, 250*time.Millisecond)
	if text != strings.Repeat(line+"\n", 4) {
		t.Errorf("elsewhere is shown %q", text)
	}
}
