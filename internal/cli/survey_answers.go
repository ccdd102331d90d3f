package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/guide"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

// setStep asks for a step.
func (t *walkTerminal) setStep(ctx context.Context, now guide.Snapshot) error {
	step := now.Task.Step
	fmt.Fprintf(t.out, "\nStep %q, %s\n", printable.Short(step, 40), wording.Progress(now.Task))
	s, _ := stepNamed(now.Walk.Run(), step)
	if s.Lit() {
		t.say("  ", "Leads off the metal before it lights.")
	}
	t.say("  ", "Make the run show it, let it settle.")
	answer, done, err := t.ask(ctx, now, "  Enter when it does (s = leave out): ", walk.Event{Kind: walk.Skip, Step: step})
	if err != nil || done {
		return err
	}
	if answer != "" {
		t.noAnswer(answer)
		return nil
	}
	l, err := t.awaitFixed(ctx, func(ctx context.Context) error {
		return t.session.Do(ctx, now.Walk.Number(), walk.Event{Kind: walk.Shown, Step: step})
	})
	if err != nil {
		return err
	}
	t.readByProbes(now)
	if l == nil {
		return nil
	}
	answer, done, err = t.carryOut(ctx, t.session.Snapshot(), *l, walk.Event{Kind: walk.Skip, Step: step})
	if err == nil && !done {
		t.noAnswer(answer)
	}
	return err
}

func (t *walkTerminal) noAnswer(answer string) {
	t.say("    ", fmt.Sprintf("%q is no answer: Enter, or s, u, r, n TEXT, p", answer))
}

// readByProbes prints what the fixed probes have read since a moment, and what they have missed.
func (t *walkTerminal) readByProbes(before guide.Snapshot) {
	after := t.session.Snapshot()
	for _, x := range after.Walk.Events()[before.Walk.Number()-after.Walk.Number()+len(after.Walk.Events()):] {
		if x.Fixed {
			fmt.Fprintf(t.out, "    %s: %s %s\n", strings.TrimSpace(x.From+" "+x.To), x.Value, x.Unit)
		}
	}
	for _, m := range after.Missed {
		t.say("    ", m.Place+": left out, "+m.Why)
	}
}

// measure asks for a reading.
func (t *walkTerminal) measure(ctx context.Context, now guide.Snapshot) error {
	n := now.Task.Read
	if now.Task.Again != nil {
		t.say("    ", wording.Contradiction(n, *now.Task.Again)+" Or s withdraws it.")
	}
	if n.Lead > 0 {
		t.say("    ", "This needs a long lead:"+wording.WithLead(n)+".")
	}
	place, put := "the current of feed "+n.From, "clamp on one conductor of feed "+n.From
	if n.Quantity == run.Voltage {
		place = n.From + " to " + n.To
		put = "leads on " + place
	}
	question := t.question(place+",", "in "+reading.Unit(n.Quantity))
	typed := !t.session.Measures(n.Quantity)
	if !typed {
		question = t.question(put+",", "then Enter")
	}
	answer, done, err := t.ask(ctx, now, question, now.Walk.Skip(n))
	if err != nil || done {
		return err
	}
	var x reading.Reading
	if !typed && answer == "" {
		var l *typedLine
		if x, l, err = t.readMeter(ctx, n); l != nil {
			if answer, done, err = t.carryOut(ctx, now, *l, now.Walk.Skip(n)); err != nil || done {
				return err
			}
		}
	}
	if typed = typed || answer != ""; typed {
		x, err = t.typed(n, answer)
	}
	if err == nil {
		err = t.session.Take(ctx, now.Walk.Number(), x)
	}
	switch {
	case errors.Is(err, walk.ErrStale) || ctx.Err() != nil:
		return err
	case err != nil && guide.Lasting(err):
		return err
	case err != nil:
		t.say("    ", err.Error())
		return nil
	}
	if !typed {
		fmt.Fprintf(t.out, "    %s %s\n", x.Text, x.Unit)
	}
	return nil
}

// answerRoom is how many columns an answer needs beside its question.
const answerRoom = 8

// question returns a question on one line, or on two where the terminal is narrow.
func (t *walkTerminal) question(place, how string) string {
	one := fmt.Sprintf("  %s %s (s = leave out): ", printable.Line(place), how)
	if t.style.Columns == 0 || utf8.RuneCountInString(one)+answerRoom <= t.style.Columns {
		return one
	}
	return fmt.Sprintf("  %s\n    %s (s = leave out): ", printable.Line(place), how)
}

// typed returns the reading of a typed answer.
func (t *walkTerminal) typed(n assessment.Next, answer string) (reading.Reading, error) {
	text, unit := numberAndUnit(answer)
	if unit == "" {
		unit = reading.Unit(n.Quantity)
	}
	return t.session.Typed(n, text, unit)
}

// ask prints a question about the walk at one moment and carries out the answer.
func (t *walkTerminal) ask(ctx context.Context, now guide.Snapshot, question string, skip walk.Event) (answer string, done bool, err error) {
	fmt.Fprint(t.out, question)
	l := <-t.nextLine()
	t.pending = nil
	return t.carryOut(ctx, now, l, skip)
}

// answerOf returns the answer of a typed line.
func answerOf(line string) string { return strings.TrimSpace(line) }

// carryOut carries out an answer that every question takes: done reports that it has, or that there was nothing
// to do; otherwise it returns the answer. If another device has gone on since the moment of the question,
// nothing is left out, taken back or put back, and the error is walk.ErrStale.
func (t *walkTerminal) carryOut(ctx context.Context, now guide.Snapshot, l typedLine, skip walk.Event) (answer string, done bool, err error) {
	line := answerOf(l.text)
	switch {
	case l.err == io.EOF && line != "": // the last line may lack its end
	case l.err == io.EOF:
		fmt.Fprintln(t.out)
		return "", true, errDone
	case l.err != nil:
		fmt.Fprintln(t.out)
		return "", true, l.err
	}
	word, rest, _ := strings.Cut(line, " ")
	var e walk.Event
	switch word {
	case "s":
		e = skip
	case "u":
		if !now.Walk.CanUndo() {
			t.say("    ", "there is nothing to take back")
			return "", true, nil
		}
		e.Kind = walk.Undo
	case "r":
		if !now.Walk.CanRedo() {
			t.say("    ", "nothing was taken back")
			return "", true, nil
		}
		e.Kind = walk.Redo
	case "n":
		now = t.session.Snapshot() // a note fits after any event of another device
		if e = (walk.Event{Kind: walk.Note, Text: strings.TrimSpace(rest), Step: skip.Step, From: skip.From, To: skip.To}); e.Text == "" {
			t.say("    ", "a text to note follows the n, such as: n cover cracked here")
			return "", true, nil
		}
	case "p", "q":
		if err := t.session.Do(ctx, t.session.Snapshot().Walk.Number(), walk.Event{Kind: walk.Pause}); err != nil {
			return "", true, err
		}
		return "", true, errPaused
	default:
		return line, false, nil
	}
	if err := t.session.Do(ctx, now.Walk.Number(), e); err != nil {
		return "", true, err
	}
	t.report(e, now)
	return "", true, nil
}

// report prints what an answer has done.
func (t *walkTerminal) report(e walk.Event, before guide.Snapshot) {
	_, gone, back := before.Walk.Changes(t.session.Snapshot().Walk)
	for _, x := range gone {
		t.say("    ", "withdrawn: "+line(x))
	}
	for _, x := range back {
		t.say("    ", "put back: "+line(x))
	}
	switch {
	case e.Kind == walk.Note:
		t.say("    ", "noted")
	case e.Kind == walk.Skip && e.From != "":
		t.say("    ", strings.TrimSpace(e.From+" "+e.To)+": left out, as asked")
	}
}

// numberAndUnit splits an answer after its last digit, or after an overload sign; the unit "" means that none
// was given.
func numberAndUnit(answer string) (number, unit string) {
	if sign, rest, _ := strings.Cut(answer, " "); reading.IsOverload(sign) {
		return sign, strings.TrimSpace(rest)
	}
	end := strings.LastIndexAny(answer, "0123456789.") + 1
	if end == 0 {
		return answer, ""
	}
	return answer[:end], strings.TrimSpace(answer[end:])
}
