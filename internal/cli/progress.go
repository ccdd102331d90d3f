package cli

import (
	"fmt"
	"io"
	"iter"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/reading"
)

// progressPace is when progress is shown.
type progressPace struct {
	first  time.Duration // work that takes less time shows no progress
	redraw time.Duration // interval of redrawing the line on a terminal
	sparse time.Duration // interval between the first two lines elsewhere; it doubles with each line
}

var usualPace = progressPace{2 * time.Second, 200 * time.Millisecond, 8 * time.Second}

// work is a task that may take long. Its progress is shown on standard error; meanwhile
// nothing else may be written there.
type work struct {
	to       io.Writer
	terminal bool
	what     string // such as "reading shelf.db"
	thing    string // that is counted, such as "reading"
	begun    time.Time
	counted  atomic.Int64
	end      chan struct{}
	ended    sync.WaitGroup
}

// working shows progress until done is called or the command is interrupted. thing names
// what count counts; "" = nothing is counted.
func working(c *cobra.Command, what, thing string) *work {
	w := &work{to: c.ErrOrStderr(), what: what, thing: thing, begun: time.Now(), end: make(chan struct{})}
	if file, ok := w.to.(*os.File); ok {
		w.terminal = isTerminal(file) && takesEscapes(file)
	}
	w.ended.Go(func() { w.show(usualPace, c.Context().Done()) })
	return w
}

// during calls a function and shows progress until it returns.
func during[T any](c *cobra.Command, what string, do func() (T, error)) (T, error) {
	defer working(c, what, "").done()
	return do()
}

// countReadings passes readings on and shows how many have passed.
func countReadings(c *cobra.Command, what string, readings iter.Seq2[reading.Reading, error]) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		w := working(c, what, "reading")
		defer w.done()
		for x, err := range readings {
			w.count()
			if !yield(x, err) {
				return
			}
		}
	}
}

// count adds one to what is counted.
func (w *work) count() { w.counted.Add(1) }

// done ends the progress display; on a terminal it erases the line.
func (w *work) done() {
	close(w.end)
	w.ended.Wait()
}

func (w *work) show(p progressPace, interrupted <-chan struct{}) {
	pause, drawn := p.first, false
	defer func() {
		if drawn && w.terminal {
			fmt.Fprint(w.to, "\r\x1b[K")
		}
	}()
	for next := p.sparse; ; {
		select {
		case <-w.end:
			return
		case <-interrupted:
			return
		case <-time.After(pause):
		}
		drawn = true
		if w.terminal {
			fmt.Fprintf(w.to, "\r\x1b[K%s", w)
			pause = p.redraw
			continue
		}
		fmt.Fprintf(w.to, "%s\n", w)
		pause, next = next, 2*next
	}
}

// String is the line that is shown.
func (w *work) String() string {
	text := w.what
	if w.thing != "" {
		text += ": " + count(w.counted.Load(), w.thing)
	}
	return fmt.Sprintf("%s, %.0f s so far", text, time.Since(w.begun).Seconds())
}
