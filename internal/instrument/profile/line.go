package profile

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/register"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

// unitNames are the units that a decimal number can have, in the order in which
// messages list them.
var unitNames = []string{"V", "mV", "uV", "A", "mA", "uA", "degC"}

// UnitQuantity returns the quantity of a unit; ok is false for one that no board sends.
func UnitQuantity(unit string) (q run.Quantity, ok bool) {
	switch {
	case !slices.Contains(unitNames, unit):
		return 0, false
	case unit == "degC":
		return run.Temperature, true
	case strings.HasSuffix(unit, "A"):
		return run.Current, true
	}
	return run.Voltage, true
}

func parseLine(root, t *toml.Table, ok bool) Line {
	if !ok {
		root.Missing("line", "how the board's lines look")
		return Line{}
	}
	l := Line{}
	l.Comment, _ = t.Text("comment")
	if pattern, ok := t.Text("identity"); ok {
		var err error
		if l.Identity, err = regexp.Compile(`^(?:` + pattern + `)$`); err != nil {
			t.Fault("identity", err.Error(), "")
		}
		if l.Comment == "" {
			t.Missing("comment", "the identity is a comment")
		}
	}
	chip := parseChip(t)
	l.AwaitReady, _ = t.Bool("await_ready")
	if pattern := requiredText(t, "pattern", "a regular expression with named groups"); pattern != "" {
		var err error
		// A pattern is of the whole line, so that text after a reading makes the line bad.
		if l.Pattern, err = regexp.Compile(`^(?:` + pattern + `)$`); err != nil {
			t.Fault("pattern", err.Error(), "")
			return l
		}
	}
	fields := t.Tables("field")
	if len(fields) == 0 {
		t.Missing("field", "begin each value of a line with [[line.field]]")
	}
	for _, f := range fields {
		l.Fields = append(l.Fields, parseField(f, l.Pattern, chip))
	}
	if len(l.Fields) > 0 && !slices.ContainsFunc(l.Fields, func(f Field) bool { return !f.IsFlags() }) {
		t.Missing("field", "flags alone are not a value")
	}
	if l.Pattern != nil {
		unusedGroups(t, l)
	}
	return l
}

// parseField reads one value of a line: a decimal number, register counts or a
// register's word.
func parseField(t *toml.Table, pattern *regexp.Regexp, chip *register.Chip) Field {
	f := Field{Lowest: math.MinInt64, Highest: math.MaxInt64}
	f.Group = requiredText(t, "group", "the group of the pattern that holds the value")
	checkGroup(t, "group", f.Group, pattern)
	f.Unit, _ = t.Text("unit")
	f.UnitGroup, _ = t.Text("unit_group")
	checkGroup(t, "unit_group", f.UnitGroup, pattern)
	f.Counts = t.Has("per_count")

	ways := 0
	for _, key := range []string{"unit", "unit_group", "per_count", "register"} {
		if t.Has(key) {
			ways++
		}
	}
	if ways != 1 {
		t.Fault("", fmt.Sprintf("states its unit in %d ways", ways), "exactly one of unit, unit_group, per_count and register")
	}
	if f.Unit != "" && !slices.Contains(unitNames, f.Unit) {
		t.Fault("unit", fmt.Sprintf("%q is not a known unit", f.Unit), fault.Suggest(f.Unit, unitNames))
	}
	switch {
	case f.Counts:
		parseCounts(t, &f)
	case t.Has("register"):
		parseRegister(t, &f, chip)
	case f.Unit != "" && t.Has("shunt_milliohms"):
		if q, ok := UnitQuantity(f.Unit); ok && q != run.Current {
			t.Fault("shunt_milliohms", "a shunt turns volts into a current", "")
		}
		f.Shunt = requiredNumber(t, "shunt_milliohms", true) / 1000
	}
	return f
}

// parseCounts reads the value of a register's count.
func parseCounts(t *toml.Table, f *Field) {
	quantity, _ := indexIn(t, "quantity", run.QuantityNames, "")
	f.Quantity = run.Quantity(quantity)
	per, ok := t.Number("per_count")
	if ok && per == 0 {
		t.Fault("per_count", "a count cannot be worth nothing", "")
	}
	f.PerCount = per
	if t.Has("shunt_milliohms") {
		if f.Quantity != run.Current {
			t.Fault("shunt_milliohms", "a shunt turns volts into a current", `write quantity = "current"`)
		}
		if ohms := requiredNumber(t, "shunt_milliohms", true) / 1000; ohms > 0 {
			f.PerCount, f.Shunt = per/ohms, ohms
		}
	}
	f.Lowest, f.Highest = parseEnds(t, f.Lowest, f.Highest)
}

// parseEnds reads the least and the greatest number beyond which a sensor is saturated; those
// that are left out stay as given.
func parseEnds(t *toml.Table, lowest, highest int64) (int64, int64) {
	if n, ok := t.Whole("lowest"); ok {
		lowest = int64(n)
	}
	if n, ok := t.Whole("highest"); ok {
		highest = int64(n)
	}
	if lowest >= highest {
		t.Fault("lowest", "is not below highest", "")
	}
	return lowest, highest
}

// checkGroup reports a name that is no group of the pattern.
func checkGroup(t *toml.Table, key, name string, pattern *regexp.Regexp) {
	if name == "" || pattern == nil || pattern.SubexpIndex(name) >= 0 {
		return
	}
	var known []string
	for _, s := range pattern.SubexpNames() {
		if s != "" {
			known = append(known, s)
		}
	}
	t.Fault(key, fmt.Sprintf("the pattern has no group %q", name), fault.Suggest(name, known))
}

// unusedGroups reports groups of the pattern that nothing refers to: most often
// a misspelt id.
func unusedGroups(t *toml.Table, l Line) {
	used := []string{"", GroupID, GroupFault, GroupSerial}
	for _, f := range l.Fields {
		used = append(used, f.Group, f.UnitGroup)
	}
	var unused []string
	for _, name := range l.Pattern.SubexpNames() {
		if !slices.Contains(used, name) {
			unused = append(unused, name)
		}
	}
	if len(unused) > 0 {
		t.Fault("pattern", "nothing refers to its group "+strings.Join(unused, ", "),
			"known by themselves are id, fault and serial; write (?:…) for a group without a name")
	}
}
