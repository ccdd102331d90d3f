package profile

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

var namePattern = regexp.MustCompile(`^[\w-]+$`)

// Parse reads a profile. Its error is a fault.List that names every fault.
func Parse(file string, src []byte) (*Profile, error) {
	root := toml.Parse(file, src)
	p := &Profile{}
	p.Name = requiredText(root, "name", "letters, digits, - and _")
	if p.Name != "" && !namePattern.MatchString(p.Name) {
		root.Fault("name", fmt.Sprintf("%q is not a profile's name", p.Name), "letters, digits, - and _")
	}
	p.Title = requiredText(root, "title", "what people call the device")
	p.Source, _ = root.Text("source")
	p.Accuracy, _ = root.Text("accuracy_source")
	kind, known := indexIn(root, "kind", kindNames, "")
	p.Kind = Kind(kind)
	port, hasPort := root.Table("port")
	switch {
	case known && portless[p.Kind] != "":
		if hasPort {
			root.Fault("port", "has no meaning in a profile of kind "+p.Kind.String(), portless[p.Kind])
		}
	case hasPort:
		p.Port = parsePort(port)
	default:
		root.Missing("port", "begin it with [port] and write at least baud = 9600")
	}
	if known {
		p.parseKind(root)
	}
	p.Meter = parseMeter(root, p.Name)
	p.Meter.DigitsShowRange = p.Kind == Handheld
	if known {
		root.Done()
	}
	if err := root.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

// portless are the kinds of devices that are at no serial port, and why.
var portless = map[Kind]string{Hwmon: "the kernel reads the device", MQTT: "the device publishes at a broker"}

// parseKind reads the table of the profile's kind. Tables of other kinds are refused.
func (p *Profile) parseKind(root *toml.Table) {
	for kind, name := range []string{"query", "line", "hwmon", "modbus", "display", "mqtt"} {
		t, ok := root.Table(name) // asking for a table makes it known
		switch {
		case Kind(kind) != p.Kind && ok:
			root.Fault(name, "has no meaning in a profile of kind "+p.Kind.String(), "")
		case Kind(kind) != p.Kind:
		case p.Kind == SCPI:
			p.Query = parseQuery(root, t, ok)
		case p.Kind == Lines:
			p.Line = parseLine(root, t, ok)
		case p.Kind == Hwmon:
			p.Files = parseFiles(root, t, ok)
		case p.Kind == Modbus:
			p.Registers = parseRegisters(root, t, ok)
		case p.Kind == Handheld:
			p.Display = parseDisplay(root, t, ok)
		case p.Kind == MQTT:
			p.Messages = parseMessages(root, t, ok)
		}
	}
}

// requiredText returns a text that must be set and not be empty.
func requiredText(t *toml.Table, key, hint string) string {
	s, ok := t.Text(key)
	switch {
	case ok && strings.TrimSpace(s) == "":
		t.Fault(key, "is empty", hint)
	case !ok && !t.Has(key):
		t.Missing(key, hint)
	}
	return s
}

// indexIn returns the index of a text among the allowed ones. A key that is left out has the value
// fallback; if that is "", the key must be set.
func indexIn(t *toml.Table, key string, allowed []string, fallback string) (int, bool) {
	s, ok := t.Text(key)
	if !ok {
		if t.Has(key) {
			return 0, false
		}
		if fallback == "" {
			t.Missing(key, "one of "+strings.Join(allowed, ", "))
			return 0, false
		}
		s = fallback
	}
	i := slices.Index(allowed, s)
	if i < 0 {
		t.Fault(key, fmt.Sprintf("%q is not one of %s", s, strings.Join(allowed, ", ")), fault.Suggest(s, allowed))
		return 0, false
	}
	return i, true
}

// intInRange returns a whole number from low to high, or fallback if the key is left out.
func intInRange(t *toml.Table, key string, fallback, low, high int) int {
	n, ok := t.Whole(key)
	if !ok {
		return fallback
	}
	if n < low || n > high {
		t.Fault(key, fmt.Sprintf("%d is not between %d and %d", n, low, high), "")
		return fallback
	}
	return n
}

func parsePort(t *toml.Table) Port {
	p := Port{
		Baud:       intInRange(t, "baud", 0, 50, 4_000_000),
		DataBits:   intInRange(t, "data_bits", 8, 5, 8),
		StopBits:   intInRange(t, "stop_bits", 1, 1, 2),
		Settle:     time.Duration(intInRange(t, "settle_milliseconds", 0, 0, 60_000)) * time.Millisecond,
		Terminator: "\n",
	}
	if p.Baud == 0 && !t.Has("baud") {
		t.Missing("baud", "bits a second, such as 9600 or 115200")
	}
	parity, _ := indexIn(t, "parity", parityNames, "none")
	p.Parity = Parity(parity)
	if on, ok := t.Bool("dtr"); ok {
		p.DTR = &on
	}
	if on, ok := t.Bool("rts"); ok {
		p.RTS = &on
	}
	if s, ok := t.Text("terminator"); ok {
		if !slices.Contains([]string{"\n", "\r\n", "\r"}, s) {
			t.Fault("terminator", fmt.Sprintf("%q does not end a line", s), `"\n", "\r\n" or "\r", between double quotation marks`)
		}
		p.Terminator = s
	}
	return p
}

func parseMeter(root *toml.Table, name string) run.Meter {
	each, _ := indexIn(root, "errors", []string{"common", "each"}, "common")
	m := run.Meter{Name: name, Each: each == 1}
	for _, t := range root.Tables("range") {
		quantity, _ := indexIn(t, "quantity", run.QuantityNames, "")
		r := run.Range{Quantity: run.Quantity(quantity), UpTo: math.Inf(1)}
		if t.Has("up_to") {
			r.UpTo = requiredNumber(t, "up_to", true)
		}
		r.Resolution = requiredNumber(t, "resolution", true)
		r.Fraction = requiredNumber(t, "percent", false) / 100
		r.Counts = requiredNumber(t, "counts", false)
		m.Ranges = append(m.Ranges, r)
	}
	return m
}

// requiredNumber returns a number that must be set. It must be above zero if above is true,
// otherwise zero or above.
func requiredNumber(t *toml.Table, key string, above bool) float64 {
	x, ok := t.Number(key)
	switch {
	case !ok && !t.Has(key):
		t.Missing(key, "")
	case ok && above && x <= 0:
		t.Fault(key, fmt.Sprintf("%g is not above 0", x), "")
	case ok && x < 0:
		t.Fault(key, fmt.Sprintf("%g is below 0", x), "")
	}
	return x
}
