package cli

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/service"
)

// still is a watch of a run that does nothing.
type still struct {
	service.Watch
	run  *run.Run
	done chan struct{}
}

func (w still) Run() *run.Run         { return w.run }
func (w still) Done() <-chan struct{} { return w.done }
func (w still) MaxStreams() int       { return 4 }

// Beside a watch a person types the values of the run file's meters, not those of a board; and when the
// watch has ended, no further walk begins.
func TestWalkBesideWatch(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf[:strings.LastIndex(shelf, "  [[meter.range]]")]+board("cabinet", "/dev/ttyUSB9"))
	r, err := loadRun("shelf.toml")
	if err != nil {
		t.Fatal(err)
	}
	w := still{run: r.Run, done: make(chan struct{})}
	p := &watchedWalk{watch: w, path: "shelf.db"}
	ask := func(path string) (int, string) {
		answer := httptest.NewRecorder()
		p.ServeHTTP(answer, httptest.NewRequest(http.MethodGet, path, nil))
		return answer.Code, answer.Body.String()
	}
	for begun, text := time.Now(), ""; !strings.Contains(text, `"ready":true`); time.Sleep(time.Millisecond) {
		if _, text = ask("/walk/state"); time.Since(begun) > time.Minute {
			t.Fatal(text)
		}
	}
	if list := p.session.Unmeasured(); len(list) != 1 || list[0] != run.Current {
		t.Errorf("no meter can measure %v", list)
	}
	close(w.done)
	p.shut()
	if code, text := ask("/walk/state"); code != http.StatusServiceUnavailable || p.run != nil {
		t.Errorf("after the end: %d %s", code, text)
	}
}
