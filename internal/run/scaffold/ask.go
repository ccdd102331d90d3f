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
		volts := o.Volts
		d.strip(&o)
		if o.Volts != volts && o.SupplyVolts == volts {
			o.SupplyVolts = o.Volts
		}
		d.supply(&o)
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

func (d *Questions) strip(o *Options) {
	d.text("Name of the run", &o.Name)
	d.number("Volts that the strip is rated at", &o.Volts, 60)
	d.number("Pixels per metre", &o.PixelsPerMetre, 10_000)
	d.lengths("Length of each reel in metres, in the order of the data, such as 4,5,4", &o.ReelMetres)
	d.one("Driver: a current sink (linear), a resistor, or constant power (regulated)", Drivers, &o.Driver)
	d.whole("LEDs in a row on each channel (0 = not known)", &o.LEDs, 20)
	d.yes("Has each pixel a white channel of its own", &o.White)
	d.number("Milliamps of one channel of one pixel, fully on", &o.ChannelMilliamps, 10_000)
}

func (d *Questions) supply(o *Options) {
	d.number("Volts of the supply, as trimmed", &o.SupplyVolts, 60)
	d.number("Amps that the supply is rated at", &o.SupplyAmps, 1000)
	d.word("Fed at the start, at both ends, or in the middle (start, both, middle)", &o.Fed)
	d.number("Metres of cable from the supply to where it meets the strip, one way", &o.FeedMetres, 10_000)
	if o.Fed == Both {
		d.number("Metres of cable from the supply to the far end, one way", &o.FarMetres, 10_000)
	}
	d.conductor("Conductor of the feeds, such as 18 AWG or 0.75 mm2", &o.Conductor)
	d.yes("Is it finely stranded", &o.Fine)
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

func (d *Questions) text(question string, to *string) {
	d.ask(question, *to, func(answer string) error {
		if strings.ContainsAny(answer, `",`) {
			return errors.New("without quotation marks or commas, please")
		}
		*to = answer
		return nil
	})
}

// number asks for a number above 0, up to high.
func (d *Questions) number(question string, to *float64, high float64) {
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
		return 0, fmt.Errorf("%q is not a number above 0, up to %g, written such as 2.5", answer, high)
	}
	return x, nil
}

func (d *Questions) lengths(question string, to *[]float64) {
	var kept []string
	for _, metres := range *to {
		kept = append(kept, number(metres))
	}
	d.ask(question, strings.Join(kept, ","), func(answer string) error {
		all, err := ParseLengths(answer)
		if err == nil {
			*to = all
		}
		return err
	})
}

// ParseLengths reads lengths in metres with commas, semicolons or blanks between them.
func ParseLengths(text string) ([]float64, error) {
	var all []float64
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(",; \t", r) }) {
		metres, err := strconv.ParseFloat(word, 64)
		if err != nil || !(metres > 0 && metres <= 10_000) {
			return nil, fmt.Errorf("%q is not a length (write metres, such as 4,5,4)", word)
		}
		all = append(all, metres)
	}
	if all == nil {
		return nil, fmt.Errorf("%q is not a length (write metres, such as 4,5,4)", text)
	}
	return all, nil
}

// whole asks for a whole number from 0 to high.
func (d *Questions) whole(question string, to *int, high int) {
	d.ask(question, strconv.Itoa(*to), func(answer string) error {
		n, err := strconv.Atoi(answer)
		if err != nil || n < 0 || n > high {
			return fmt.Errorf("%q is not a whole number from 0 to %d", answer, high)
		}
		*to = n
		return nil
	})
}

// one asks for one of several words.
func (d *Questions) one(question string, words []string, to *string) {
	d.ask(question, *to, func(answer string) error {
		for _, word := range words {
			if strings.EqualFold(answer, word) {
				*to = word
				return nil
			}
		}
		return fault.Fault{Text: fmt.Sprintf("%q is not one of %s", answer, strings.Join(words, ", ")), Hint: fault.Suggest(answer, words)}
	})
}

func (d *Questions) yes(question string, to *bool) {
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

func (d *Questions) word(question string, to *Fed) {
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
	return Start, fault.Fault{Text: fmt.Sprintf("%q is not a way to feed a run", word), Hint: fault.Suggest(word, FedNames)}
}

func (d *Questions) conductor(question string, to *string) {
	d.ask(question, *to, func(answer string) error {
		if _, err := conductor.Parse(answer, "", ""); err != nil {
			return err
		}
		*to = answer
		return nil
	})
}
