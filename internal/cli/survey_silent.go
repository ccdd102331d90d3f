package cli

import (
	"context"
	"fmt"
	"time"

	"ohmkeep/internal/guide"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
)

// silence is how long a person waits for an instrument without a notice; tests shorten it.
var silence = guide.Silence

// typedLine is a line of the person's answers, or why there are no more.
type typedLine struct {
	text string
	err  error
}

// nextLine begins to read a line, unless one is being read, and returns the channel that gets it. Who takes
// the line clears t.pending.
func (t *walkTerminal) nextLine() <-chan typedLine {
	if t.pending == nil {
		pending := make(chan typedLine, 1)
		t.pending = pending
		go func() {
			text, err := t.in.ReadString('\n')
			pending <- typedLine{text, err}
		}()
	}
	return t.pending
}

// await does work that waits for an instrument. When that takes longer than silence, it prints what note
// returns, if that is a text, and reads answers: stay reports whether the work goes on after one, and any other
// answer ends the work and is returned. Without such an answer the error is that of the work.
func (t *walkTerminal) await(ctx context.Context, work func(context.Context) error, note func() string, stay func(answer string) bool) (*typedLine, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	done := make(chan error, 1)
	go func() { done <- work(ctx) }()
	timer := time.NewTimer(silence)
	defer timer.Stop()
	var lines <-chan typedLine
	for {
		select {
		case err := <-done:
			return nil, err
		case <-timer.C:
			if text := note(); text != "" {
				t.say("    ", text)
				lines = t.nextLine()
			} else {
				timer.Reset(silence)
			}
		case l := <-lines:
			t.pending, lines = nil, nil
			if l.err == nil && stay(answerOf(l.text)) {
				timer.Reset(silence)
				continue
			}
			stop()
			<-done
			return &l, nil
		}
	}
}

// readMeter reads the meter on the port. While nothing comes from it, an answer ends the reading and is returned.
func (t *walkTerminal) readMeter(ctx context.Context, n assessment.Next) (x reading.Reading, l *typedLine, err error) {
	note := func() string {
		text := t.session.Silent(n.Quantity) + " Enter tries again, s leaves the place out, p pauses."
		if t.session.CanType(n.Quantity) {
			text += fmt.Sprintf(" Or type what your own meter shows, in %s.", reading.Unit(n.Quantity))
		}
		return text
	}
	l, err = t.await(ctx, func(ctx context.Context) (err error) {
		x, err = t.session.Measure(ctx, n)
		return err
	}, note, func(answer string) bool { return answer == "" })
	return x, l, err
}

// awaitFixed does work that reads the fixed probes. While nothing comes from one of them, s leaves out what it
// has not sent, and another answer ends the work and is returned.
func (t *walkTerminal) awaitFixed(ctx context.Context, work func(context.Context) error) (*typedLine, error) {
	note := func() string {
		name := t.session.Awaited()
		if name == "" {
			return ""
		}
		return "nothing comes from probe " + name + ": is it switched on and connected? Enter waits on, s leaves out what it reads, p pauses."
	}
	return t.await(ctx, work, note, func(answer string) bool {
		if answer == "s" {
			t.session.LeaveAwaited()
		}
		return answer == "" || answer == "s"
	})
}
