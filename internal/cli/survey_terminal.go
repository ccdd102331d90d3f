package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/guide"
	"ohmkeep/internal/show/table"
	"ohmkeep/internal/show/wording"
)

// learnWait is how long a person waits for the estimates after an answer; the next question then
// goes by the readings that they include.
const learnWait = 300 * time.Millisecond

// walkTerminal leads a walk at a terminal, a question a line. All lines fit 40 columns where they are
// wrapped to the terminal's width.
type walkTerminal struct {
	in      *bufio.Reader
	out     io.Writer
	style   table.Style
	session *guide.Session
	pending chan typedLine  // gets the line that is being read; nil = none is
	wait    time.Duration   // for the estimates; 0 = as long as it takes
	decided map[string]bool // verdicts that were printed
	warned  map[string]bool // and warnings
}

func newWalkTerminal(c *cobra.Command, s *guide.Session) *walkTerminal {
	t := &walkTerminal{in: bufio.NewReader(c.InOrStdin()), out: c.ErrOrStderr(), style: styleOf(c.ErrOrStderr()), session: s,
		decided: map[string]bool{}, warned: map[string]bool{}}
	if isTerminal(c.InOrStdin()) {
		t.wait = learnWait
	}
	return t
}

// errDone ends a walk whose input has ended; errPaused one that is paused.
var (
	errDone   = errors.New("the answers have ended")
	errPaused = errors.New("paused")
)

// endTime is how long a walk that an interrupt pauses waits for estimates that are being computed.
const endTime = 50 * time.Millisecond

// walk leads the walk until it is finished or paused. An interrupt pauses it.
func (t *walkTerminal) walk(interruptible context.Context, again bool) error {
	ctx, stop := context.WithCancel(interruptible)
	ended := make(chan struct{})
	go func() { defer close(ended); t.session.Run(ctx) }()
	defer func() {
		stop()
		select {
		case <-ended:
		case <-interruptible.Done():
			select {
			case <-ended:
			case <-time.After(endTime):
			}
		}
	}()
	if again {
		if err := t.session.Do(ctx, t.session.Snapshot().Walk.Number(), walk.Event{Kind: walk.Begin}); err != nil {
			return err
		}
	}
	t.begin()
	for {
		err := t.one(ctx)
		switch {
		case err == nil:
		case errors.Is(err, walk.ErrStale):
			t.say("", "Another device has gone on with this walk.")
		case errors.Is(err, errDone):
			return nil
		case errors.Is(err, errPaused) || interruptible.Err() != nil:
			t.say("", "Paused. The same command goes on.")
			return nil
		default:
			return err
		}
		if t.session.Snapshot().Task.Kind == walk.Finished && !t.session.Snapshot().Walk.Stale() {
			t.finished(t.session.Snapshot())
			return nil
		}
	}
}

// begin says what lies ahead.
func (t *walkTerminal) begin() {
	now := t.session.Snapshot()
	for _, text := range t.session.Absent() {
		t.say("", text)
	}
	for _, q := range t.session.Unmeasured() {
		t.say("", wording.Unmeasured(q))
	}
	for _, warning := range now.Walk.Plan().Warnings {
		t.say("", wording.Capital(warning)+".")
	}
	switch {
	case now.Practise:
		t.say("", "Practice: a simulated run with one fault. Nothing is stored.")
	case now.Task.Taken > 0:
		t.say("", "The walk goes on: "+wording.Progress(now.Task)+".")
	}
	t.say("", "s leaves out, u takes back, r puts back, n TEXT notes, p pauses.")
}

// say prints a text below a head, wrapped to the terminal.
func (t *walkTerminal) say(head, text string) {
	_ = table.List(t.out, []table.Item{{Head: head, Text: text}}, t.style) // standard error
}

// one does the next thing.
func (t *walkTerminal) one(ctx context.Context) error {
	t.learn(ctx)
	now := t.session.Snapshot()
	t.news(now)
	switch now.Task.Kind {
	case walk.SetStep:
		return t.setStep(ctx, now)
	case walk.Measure:
		return t.measure(ctx, now)
	case walk.Learning:
		t.session.Learned(ctx)
		return ctx.Err()
	}
	return nil
}

// learn waits for the estimates.
func (t *walkTerminal) learn(ctx context.Context) {
	if t.wait > 0 {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, t.wait)
		defer stop()
	}
	t.session.Learned(ctx)
}

// news prints what was decided, and what seems wrong with several readings.
func (t *walkTerminal) news(now guide.Snapshot) {
	if k := now.Walk.Known(); k != nil && now.Task.Taken > 0 {
		for _, e := range k.Elements {
			if text := wording.Decided(e); text != "" && !t.decided[text] {
				t.decided[text] = true
				t.say("    ", "settled: "+text)
			}
		}
		for _, text := range k.Warnings {
			if !t.warned[text] {
				t.warned[text] = true
				t.say("    ", text)
			}
		}
	}
	if now.Problem != "" && !t.warned[now.Problem] {
		t.warned[now.Problem] = true
		t.say("", "The estimates fail: "+now.Problem)
	}
}

// finished prints how the walk has ended.
func (t *walkTerminal) finished(now guide.Snapshot) {
	t.news(now)
	headline, rest := wording.Finished(now.Task, now.Walk.Known())
	fmt.Fprintln(t.out)
	t.say("", headline)
	for _, text := range rest {
		t.say("  ", text)
	}
}
