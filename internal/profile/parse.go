package profile

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/document"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

var namePattern = regexp.MustCompile(`^[\w-]+$`)

// Parse reads a profile. Its error is a fault.List that names every fault.
func Parse(file string, src []byte) (*Profile, error) {
	root := document.Parse(file, src)
	p := &Profile{}
	p.Name = need(root, "name", "letters, digits, - and _")
	if p.Name != "" && !namePattern.MatchString(p.Name) {
		root.Fault("name", fmt.Sprintf("%q is not a profile's name", p.Name), "letters, digits, - and _")
	}
	p.Title = need(root, "title", "what people call the device")
	kind, known := oneOf(root, "kind", kindNames, "")
	p.Kind = Kind(kind)
	if port, ok := root.Table("port"); ok {
		p.Port = parsePort(port)
	} else {
		root.Missing("port", "begin it with [port] and write at least baud = 9600")
	}
	// Asking for a table makes it known, so a profile that has the other kind's is told so.
	query, hasQuery := root.Table("query")
	line, hasLine := root.Table("line")
	switch {
	case !known:
	case p.Kind == SCPI:
		p.Query = parseQuery(root, query, hasQuery)
		if hasLine {
			root.Fault("line", "has no meaning in a profile of kind scpi", "")
		}
	case p.Kind == Lines:
		p.Line = parseLine(root, line, hasLine)
		if hasQuery {
			root.Fault("query", "has no meaning in a profile of kind lines", "")
		}
	}
	p.Meter = parseMeter(root, p.Name)
	if known {
		root.Done()
	}
	if err := root.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

// need gives a text that must be there and say something.
func need(t *document.Table, key, hint string) string {
	s, ok := t.Text(key)
	switch {
	case ok && strings.TrimSpace(s) == "":
		t.Fault(key, "is empty", hint)
	case !ok && !t.Has(key):
		t.Missing(key, hint)
	}
	return s
}

// oneOf gives the index of a text among those allowed. A key that is left out
// is fallback, and must be there where fallback is "".
func oneOf(t *document.Table, key string, allowed []string, fallback string) (int, bool) {
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
		t.Fault(key, fmt.Sprintf("%q is none of %s", s, strings.Join(allowed, ", ")), fault.Suggest(s, allowed))
		return 0, false
	}
	return i, true
}

// whole gives a whole number of a range, or fallback where the file has none.
func whole(t *document.Table, key string, fallback, low, high int) int {
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

func parsePort(t *document.Table) Port {
	p := Port{
		Baud:       whole(t, "baud", 0, 50, 4_000_000),
		DataBits:   whole(t, "data_bits", 8, 5, 8),
		StopBits:   whole(t, "stop_bits", 1, 1, 2),
		Settle:     time.Duration(whole(t, "settle_milliseconds", 0, 0, 60_000)) * time.Millisecond,
		Terminator: "\n",
	}
	if p.Baud == 0 && !t.Has("baud") {
		t.Missing("baud", "bits a second, such as 9600 or 115200")
	}
	parity, _ := oneOf(t, "parity", parityNames, "none")
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

func parseQuery(root, t *document.Table, ok bool) Query {
	if !ok {
		root.Missing("query", "what the meter is asked")
		return Query{}
	}
	q := Query{Measure: map[run.Quantity][]string{}}
	if q.Identity = need(t, "identity", "*IDN?"); q.Identity != "" {
		messages(t, "identity", []string{q.Identity}, true)
	}
	if q.Error, _ = t.Text("error"); q.Error != "" {
		messages(t, "error", []string{q.Error}, true)
	}
	q.Start, _ = t.Texts("start")
	q.Finish, _ = t.Texts("finish")
	messages(t, "start", q.Start, false)
	messages(t, "finish", q.Finish, false)
	q.Timeout = time.Duration(whole(t, "timeout_milliseconds", 5000, 1, 600_000)) * time.Millisecond
	asked := false
	for i, name := range run.QuantityNames {
		asked = asked || t.Has(name)
		if list, ok := t.Texts(name); ok {
			messages(t, name, list, true)
			q.Measure[run.Quantity(i)] = list
		}
	}
	if !asked {
		t.Missing("voltage", "or current, or temperature: what the meter is asked for it")
	}
	return q
}

// messages checks what is sent to a meter: one line each, and only the last
// one a query, where there has to be one.
func messages(t *document.Table, key string, list []string, query bool) {
	if query && len(list) == 0 {
		t.Fault(key, "is empty", "the last entry is the query, such as \"READ?\"")
	}
	for i, m := range list {
		asks := query && i == len(list)-1
		switch {
		case strings.TrimSpace(m) == "" || strings.ContainsAny(m, "\r\n"):
			t.Fault(key, fmt.Sprintf("%q is not one line", m), "")
		case asks && !strings.Contains(m, "?"):
			t.Fault(key, fmt.Sprintf("%q asks nothing", m), "the last entry is the query; a query has a ?")
		case !asks && strings.Contains(m, "?"):
			t.Fault(key, fmt.Sprintf("%q would be answered, and nobody reads the answer", m), "only the last entry of a measurement is a query")
		}
	}
}

func parseMeter(root *document.Table, name string) run.Meter {
	each, _ := oneOf(root, "errors", []string{"common", "each"}, "common")
	m := run.Meter{Name: name, Each: each == 1}
	for _, t := range root.Tables("range") {
		quantity, _ := oneOf(t, "quantity", run.QuantityNames, "")
		r := run.Range{Quantity: run.Quantity(quantity), UpTo: math.Inf(1)}
		if t.Has("up_to") {
			r.UpTo = atLeast(t, "up_to", true)
		}
		r.Resolution = atLeast(t, "resolution", true)
		r.Fraction = atLeast(t, "percent", false) / 100
		r.Counts = atLeast(t, "counts", false)
		m.Ranges = append(m.Ranges, r)
	}
	return m
}

// atLeast gives a number that must be there and be above zero, or not below it.
func atLeast(t *document.Table, key string, above bool) float64 {
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
