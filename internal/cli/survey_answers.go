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
		t.say("    ", fmt.Sprintf("%q is no answer: Enter, or s, u, r, n TEXT, p", answer))
		return nil
	}
	if err := t.session.Do(ctx, now.Walk.Number(), walk.Event{Kind: walk.Shown, Step: step}); err != nil {
		return err
	}
	after := t.session.Snapshot()
	for _, x := range after.Walk.Events()[now.Walk.Number()-after.Walk.Number()+len(after.Walk.Events()):] {
		if x.Fixed {
			fmt.Fprintf(t.out, "    %s: %s %s\n", strings.TrimSpace(x.From+" "+x.To), x.Value, x.Unit)
		}
	}
	for _, m := range after.Missed {
		t.say("    ", m.Place+": left out, "+m.Why)
	}
	return nil
}

// measure asks for a reading.
func (t *walkTerminal) measure(ctx context.Context, now guide.Snapshot) error {
	n := now.Task.Read
	if now.Task.Again != nil {
		t.say("    ", wording.Contradiction(n, *now.Task.Again))
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
	answer, done, err := t.ask(ctx, now, question, walk.SkipEvent(n))
	if err != nil || done {
		return err
	}
	x, err := t.value(ctx, n, answer, typed)
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

// value returns the reading of a typed answer, or that of the meter on the port.
func (t *walkTerminal) value(ctx context.Context, n assessment.Next, answer string, typed bool) (reading.Reading, error) {
	if !typed && answer == "" {
		return t.session.Measure(ctx, n)
	}
	text, unit := numberAndUnit(answer)
	if unit == "" {
		unit = reading.Unit(n.Quantity)
	}
	return t.session.Typed(n, text, unit)
}

// ask prints a question about the walk at one moment and returns the answer. It carries out the answers that
// every question takes: done reports that it has, or that there was nothing to do. If another device has gone
// on since that moment, nothing is left out, taken back or put back, and the error is walk.ErrStale.
func (t *walkTerminal) ask(ctx context.Context, now guide.Snapshot, question string, skip walk.Event) (answer string, done bool, err error) {
	fmt.Fprint(t.out, question)
	line, err := t.in.ReadString('\n')
	line = strings.TrimSpace(line)
	switch {
	case err == io.EOF && line != "": // the last line may lack its end
	case err == io.EOF:
		fmt.Fprintln(t.out)
		return "", true, errDone
	case err != nil:
		fmt.Fprintln(t.out)
		return "", true, err
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
		now = t.session.Snapshot() // a note fits whatever others have done
		if e = (walk.Event{Kind: walk.Note, Text: strings.TrimSpace(rest), Step: skip.Step, From: skip.From, To: skip.To}); e.Text == "" {
			t.say("    ", "a text to note follows the n, such as: n cover cracked here")
			return "", true, nil
		}
	case "p":
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
	case e.Kind == walk.Skip && before.Task.Again != nil:
		t.say("    ", "kept as it is")
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
