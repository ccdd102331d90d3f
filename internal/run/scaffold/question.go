package scaffold

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run/conductor"
)

// Question is one of the questions that describe a run.
type Question struct {
	Key   string   // such as "volts"; the name of a form's field
	Text  string   // in words
	Words []string // the possible answers; nil = any that Answer accepts
	value func(*Options) string
	set   func(*Options, string) error
	asked func(*Options) bool // nil = always
}

// Value returns the answer that the options stand for.
func (q Question) Value(o Options) string { return q.value(&o) }

// Asked reports whether the question makes sense, given the answers before it.
func (q Question) Asked(o Options) bool { return q.asked == nil || q.asked(&o) }

// Answer changes the options by an answer; an empty one changes nothing. Its error says what would be right.
func (q Question) Answer(o *Options, answer string) error {
	if answer = strings.TrimSpace(answer); answer == "" {
		return nil
	}
	return q.set(o, answer)
}

// List returns the questions in their order.
func List() []Question {
	return []Question{
		{Key: "name", Text: "Name of the run", value: func(o *Options) string { return o.Name }, set: func(o *Options, answer string) error {
			if strings.ContainsAny(answer, `",`) {
				return errors.New("without quotation marks or commas, please")
			}
			o.Name = answer
			return nil
		}},
		{Key: "volts", Text: "Volts that the strip is rated at", value: func(o *Options) string { return number(o.Volts) }, set: func(o *Options, answer string) error {
			volts := o.Volts
			err := setNumber(&o.Volts, answer, 60)
			if o.SupplyVolts == volts { // it follows the strip's until it is changed
				o.SupplyVolts = o.Volts
			}
			return err
		}},
		numberQuestion("pixels-per-metre", "Pixels per metre", 10_000, func(o *Options) *float64 { return &o.PixelsPerMetre }),
		{Key: "reels", Text: "Length of each reel in metres, in the order of the data, such as 4,5,4", value: func(o *Options) string { return lengths(o.ReelMetres) },
			set: func(o *Options, answer string) error {
				all, err := ParseLengths(answer)
				if err == nil {
					o.ReelMetres = all
				}
				return err
			}},
		{Key: "driver", Text: "Driver: a current sink (linear), a resistor, or constant power (regulated)", Words: Drivers,
			value: func(o *Options) string { return o.Driver }, set: func(o *Options, answer string) error {
				for _, word := range Drivers {
					if strings.EqualFold(answer, word) {
						o.Driver = word
						return nil
					}
				}
				return fault.Fault{Text: fmt.Sprintf("%q is not one of %s", answer, strings.Join(Drivers, ", ")), Hint: fault.Suggest(answer, Drivers)}
			}},
		{Key: "leds", Text: "LEDs in a row on each channel (0 = not known)", value: func(o *Options) string { return strconv.Itoa(o.LEDs) }, set: func(o *Options, answer string) error {
			const most = 20
			n, err := strconv.Atoi(answer)
			if err != nil || n < 0 || n > most {
				return fmt.Errorf("%q is not a whole number from 0 to %d", answer, most)
			}
			o.LEDs = n
			return nil
		}},
		yesQuestion("white", "Has each pixel a white channel of its own", func(o *Options) *bool { return &o.White }),
		numberQuestion("channel-milliamps", "Milliamps of one channel of one pixel, fully on", 10_000, func(o *Options) *float64 { return &o.ChannelMilliamps }),
		numberQuestion("supply-volts", "Volts of the supply, as trimmed", 60, func(o *Options) *float64 { return &o.SupplyVolts }),
		numberQuestion("supply-amps", "Amps that the supply is rated at", 1000, func(o *Options) *float64 { return &o.SupplyAmps }),
		{Key: "fed", Text: "Fed at the start, at both ends, or in the middle (start, both, middle)", Words: FedNames, value: func(o *Options) string { return o.Fed.String() },
			set: func(o *Options, answer string) (err error) {
				fed, err := ParseFed(answer)
				if err == nil {
					o.Fed = fed
				}
				return err
			}},
		numberQuestion("feed-metres", "Metres of cable from the supply to where it meets the strip, one way", 10_000, func(o *Options) *float64 { return &o.FeedMetres }),
		farQuestion(),
		{Key: "conductor", Text: "Conductor of the feeds, such as 18 AWG or 0.75 mm2", value: func(o *Options) string { return o.Conductor }, set: func(o *Options, answer string) error {
			if _, err := conductor.Parse(answer, "", ""); err != nil {
				return err
			}
			o.Conductor = answer
			return nil
		}},
		yesQuestion("fine", "Is it finely stranded", func(o *Options) *bool { return &o.Fine }),
	}
}

func farQuestion() Question {
	q := numberQuestion("far-metres", "Metres of cable from the supply to the far end, one way", 10_000, func(o *Options) *float64 { return &o.FarMetres })
	q.asked = func(o *Options) bool { return o.Fed == Both }
	return q
}

// numberQuestion asks for a number above 0, up to high.
func numberQuestion(key, text string, high float64, of func(*Options) *float64) Question {
	return Question{Key: key, Text: text, value: func(o *Options) string { return number(*of(o)) },
		set: func(o *Options, answer string) error { return setNumber(of(o), answer, high) }}
}

func setNumber(to *float64, answer string, high float64) error {
	x, err := strconv.ParseFloat(answer, 64)
	if err != nil || !(x > 0 && x <= high) {
		return fmt.Errorf("%q is not a number above 0, up to %g, written such as 2.5", answer, high)
	}
	*to = x
	return nil
}

func yesQuestion(key, text string, of func(*Options) *bool) Question {
	words := map[bool]string{true: "yes", false: "no"}
	return Question{Key: key, Text: text, Words: []string{"yes", "no"}, value: func(o *Options) string { return words[*of(o)] },
		set: func(o *Options, answer string) error {
			switch strings.ToLower(answer) {
			case "y", "yes":
				*of(o) = true
			case "n", "no":
				*of(o) = false
			default:
				return errors.New("yes or no")
			}
			return nil
		}}
}

// lengths writes lengths as ParseLengths reads them.
func lengths(metres []float64) string {
	var list []string
	for _, m := range metres {
		list = append(list, number(m))
	}
	return strings.Join(list, ",")
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

// ParseFed reads one of FedNames. Its error is a fault.Fault.
func ParseFed(word string) (Fed, error) {
	for i, name := range FedNames {
		if strings.EqualFold(word, name) {
			return Fed(i), nil
		}
	}
	return Start, fault.Fault{Text: fmt.Sprintf("%q is not a way to feed a run", word), Hint: fault.Suggest(word, FedNames)}
}
