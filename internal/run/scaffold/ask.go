package scaffold

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run/conductor"
)

// Ask asks on out for each option and reads the answers, a line each, from in.
// An empty answer keeps the default; an answer that cannot be is asked for
// again. Where the answers end early the error is io.ErrUnexpectedEOF.
func Ask(in io.Reader, out io.Writer, defaults Options) (Options, error) {
	o := defaults
	d := &dialogue{lines: bufio.NewReader(in), out: out}
	d.say("Work at mains terminals belongs to licensed people. An empty answer takes what stands in brackets.\n")
	d.text("Name of the run", &o.Name)
	d.number("Volts that the strip is rated at", &o.Volts, 60)
	d.number("Pixels per metre", &o.PixelsPerMetre, 10_000)
	d.lengths("Length of each reel in metres, in the order of the data", &o.ReelMetres)
	d.yes("Has each pixel a white channel of its own", &o.White)
	d.number("Milliamps of one channel of one pixel, fully on", &o.ChannelMilliamps, 10_000)
	if o.Volts != defaults.Volts && o.SupplyVolts == defaults.Volts {
		o.SupplyVolts = o.Volts
	}
	d.number("Volts of the supply, as trimmed", &o.SupplyVolts, 60)
	d.number("Amps that the supply is rated at", &o.SupplyAmps, 1000)
	d.word("Fed at the start, at both ends, or in the middle (start, both, middle)", &o.Fed)
	d.number("Metres of cable from the supply to where it meets the strip, one way", &o.FeedMetres, 10_000)
	if o.Fed == Both {
		d.number("Metres of cable from the supply to the far end, one way", &o.FarMetres, 10_000)
	}
	d.conductor("Conductor of the feeds, such as 18 AWG or 0.75 mm2", &o.Conductor)
	d.yes("Is it finely stranded", &o.Fine)
	return o, d.err
}

// dialogue is questions and answers until the first error, which ends it.
type dialogue struct {
	lines *bufio.Reader
	out   io.Writer
	err   error
}

func (d *dialogue) say(format string, args ...any) {
	if d.err == nil {
		_, d.err = fmt.Fprintf(d.out, format, args...)
	}
}

// ask repeats a question until take has no objection to its answer.
func (d *dialogue) ask(question, kept string, take func(string) error) {
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

func (d *dialogue) text(question string, to *string) {
	d.ask(question, *to, func(answer string) error {
		if strings.ContainsAny(answer, `",`) {
			return errors.New("without quotation marks or commas, please")
		}
		*to = answer
		return nil
	})
}

// number asks for more than 0, up to high.
func (d *dialogue) number(question string, to *float64, high float64) {
	d.ask(question, number(*to), func(answer string) error {
		x, err := positive(answer, high)
		if err == nil {
			*to = x
		}
		return err
	})
}

func positive(answer string, high float64) (float64, error) {
	x, err := strconv.ParseFloat(answer, 64)
	if err != nil || !(x > 0 && x <= high) {
		return 0, fmt.Errorf("%q is no number above 0, up to %g, written such as 2.5", answer, high)
	}
	return x, nil
}

func (d *dialogue) lengths(question string, to *[]float64) {
	var kept []string
	for _, metres := range *to {
		kept = append(kept, number(metres))
	}
	d.ask(question, strings.Join(kept, " "), func(answer string) error {
		var all []float64
		for _, word := range strings.Fields(answer) {
			metres, err := positive(word, 10_000)
			if err != nil {
				return err
			}
			all = append(all, metres)
		}
		*to = all
		return nil
	})
}

func (d *dialogue) yes(question string, to *bool) {
	d.ask(question, map[bool]string{true: "yes", false: "no"}[*to], func(answer string) error {
		switch strings.ToLower(answer) {
		case "y", "yes":
			*to = true
		case "n", "no":
			*to = false
		default:
			return errors.New("yes or no")
		}
		return nil
	})
}

func (d *dialogue) word(question string, to *Fed) {
	d.ask(question, to.String(), func(answer string) error {
		fed, err := ParseFed(answer)
		if err == nil {
			*to = fed
		}
		return err
	})
}

// ParseFed reads one of FedNames. Its error is a fault.Fault.
func ParseFed(word string) (Fed, error) {
	for i, name := range FedNames {
		if strings.EqualFold(word, name) {
			return Fed(i), nil
		}
	}
	return Start, fault.Fault{Text: fmt.Sprintf("%q is no way to feed a run", word), Hint: fault.Suggest(word, FedNames)}
}

func (d *dialogue) conductor(question string, to *string) {
	d.ask(question, *to, func(answer string) error {
		if _, err := conductor.Parse(answer, "", ""); err != nil {
			return err
		}
		*to = answer
		return nil
	})
}
