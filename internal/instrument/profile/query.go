package profile

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

func parseQuery(root, t *toml.Table, ok bool) Query {
	if !ok {
		root.Missing("query", "what the meter is asked")
		return Query{}
	}
	q := Query{Measure: map[run.Quantity][]string{}, Functions: map[run.Quantity][]Function{}}
	if q.Identity = requiredText(t, "identity", "*IDN?"); q.Identity != "" {
		messages(t, "identity", []string{q.Identity}, true)
	}
	if q.Error, _ = t.Text("error"); q.Error != "" {
		messages(t, "error", []string{q.Error}, true)
	}
	q.Start, _ = t.Texts("start")
	q.Finish, _ = t.Texts("finish")
	messages(t, "start", q.Start, false)
	messages(t, "finish", q.Finish, false)
	q.Overload, _ = t.Texts("overload")
	q.Timeout = milliseconds(t, "timeout_milliseconds", 5000, 1)
	q.Every = milliseconds(t, "every_milliseconds", 1000, 0)
	q.Turn = intInRange(t, "turn_readings", 1, 1, 1_000_000)

	asked := false
	for i, name := range run.QuantityNames {
		asked = asked || t.Has(name)
		if list, ok := t.Texts(name); ok {
			messages(t, name, list, true)
			q.Measure[run.Quantity(i)] = list
		}
	}
	for _, f := range t.Tables("function") {
		asked = true
		q.parseFunction(t, f)
	}
	for _, ranges := range q.Functions {
		slices.SortStableFunc(ranges, func(a, b Function) int { return cmp.Compare(a.UpTo, b.UpTo) })
	}
	if !asked {
		t.Missing("voltage", "or current, or temperature, or a [[query.function]]: what the meter is asked for it")
	}
	return q
}

// parseFunction reads one function and range and puts it where it belongs.
func (q *Query) parseFunction(query, t *toml.Table) {
	at, known := indexIn(t, "quantity", run.QuantityNames, "")
	quantity := run.Quantity(at)
	f := Function{UpTo: math.Inf(1), Settle: milliseconds(t, "settle_milliseconds", 0, 0)}
	var ok bool
	if f.Select, ok = t.Texts("select"); !ok && !t.Has("select") {
		t.Missing("select", `the commands that set function and range, such as ["CONF:VOLT:DC 10"]`)
	} else if ok && len(f.Select) == 0 {
		t.Fault("select", "is empty", "without a command nothing is selected")
	}
	messages(t, "select", f.Select, false)
	if f.Read = requiredText(t, "read", "READ?"); f.Read != "" {
		messages(t, "read", []string{f.Read}, true)
	}
	if f.State, _ = t.Text("state"); f.State != "" {
		messages(t, "state", []string{f.State}, true)
	}
	if t.Has("up_to") {
		f.UpTo = requiredNumber(t, "up_to", true)
	}
	if !known {
		return
	}
	if _, both := q.Measure[quantity]; both {
		query.Fault(quantity.String(), "is asked for by a [[query.function]] as well", "leave one of the two out")
	}
	if slices.ContainsFunc(q.Functions[quantity], func(other Function) bool { return other.UpTo == f.UpTo }) {
		t.Fault("up_to", fmt.Sprintf("another function of quantity %s has the same range", quantity), "")
	}
	q.Functions[quantity] = append(q.Functions[quantity], f)
}

// milliseconds returns a time of at most ten minutes.
func milliseconds(t *toml.Table, key string, fallback, least int) time.Duration {
	return time.Duration(intInRange(t, key, fallback, least, 600_000)) * time.Millisecond
}

// messages checks what is sent to a meter: one line each, and only the last
// one a query, where there has to be one.
func messages(t *toml.Table, key string, list []string, query bool) {
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
			t.Fault(key, fmt.Sprintf("%q would be answered, and the answer is not read", m), "only the last entry of a measurement is a query")
		}
	}
}
