package scaffold

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Questions asks a person for the options of a run file.
type Questions struct {
	lines *bufio.Reader
	out   io.Writer
	err   error // the first error; it ends the questions
}

// NewQuestions asks on out and reads the answers, a line each, from in.
func NewQuestions(in io.Reader, out io.Writer) *Questions {
	return &Questions{lines: bufio.NewReader(in), out: out}
}

// Options asks for each option. An empty answer keeps the default. An invalid answer is asked for
// again. Where the answers together make no valid run, all are asked for again with the answers as
// defaults.
func (d *Questions) Options(defaults Options) (Options, error) {
	o := defaults
	d.say("Work at mains terminals belongs to licensed people. An empty answer takes the value in brackets.\n")
	for d.err == nil {
		for _, q := range List() {
			if q.Asked(o) {
				d.ask(q.Text, q.Value(o), func(answer string) error { return q.Answer(&o, answer) })
			}
		}
		if d.err != nil {
			break
		}
		wrong := Write(io.Discard, o)
		if wrong == nil {
			return o, nil
		}
		d.say("\nThese answers make no run:\n%v\nYour answers stand in brackets; change what does not fit.\n", wrong)
	}
	return o, d.err
}

// File asks for the file to write. check returns an error for a file that cannot be written.
func (d *Questions) File(usual string, check func(path string) error) (string, error) {
	path := usual
	for d.err == nil {
		d.ask("File to write (- prints it)", usual, func(answer string) error { path = answer; return nil })
		if d.err != nil {
			break
		}
		wrong := check(path)
		if wrong == nil {
			return path, nil
		}
		d.say("  %v\n", wrong)
		path = usual
	}
	return "", d.err
}

func (d *Questions) say(format string, args ...any) {
	if d.err == nil {
		_, d.err = fmt.Fprintf(d.out, format, args...)
	}
}

// ask repeats a question until take accepts the answer. An empty answer keeps the default.
func (d *Questions) ask(question, kept string, take func(string) error) {
	for d.err == nil {
		d.say("%s [%s]: ", question, kept)
		line, err := d.lines.ReadString('\n')
		if answer := strings.TrimSpace(line); err == nil || answer != "" {
			if answer == "" {
				return
			}
			objection := take(answer)
			if objection == nil {
				return
			}
			d.say("  %v\n", objection)
		}
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		if err != nil && d.err == nil {
			d.err = fmt.Errorf("answer to %q: %w", question, err)
		}
	}
}
