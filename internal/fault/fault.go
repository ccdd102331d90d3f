// Package fault describes a fault in a piece of input in one line: where it is, what is
// wrong and what would be right.
//
// Parsers collect faults in a List instead of stopping at the first, so that all can be corrected
// at once. The package neither reads nor prints files.
package fault

import (
	"fmt"
	"regexp"
	"sort"
	"strings"
)

// A Fault is one thing wrong with one place of an input.
type Fault struct {
	File string // as the user named it; "" where the input has no name
	Line int    // from 1; 0 if the fault is in no single line, such as a missing table
	Key  string // the key, column or field; "" if the fault is in no single one
	Text string // what is wrong
	Hint string // what would be right, or what to do; may be ""
}

// Error returns the fault as one line: file:line: key: text (hint).
func (f Fault) Error() string {
	var b strings.Builder
	if f.File != "" {
		b.WriteString(f.File)
		if f.Line > 0 {
			fmt.Fprintf(&b, ":%d", f.Line)
		}
		b.WriteString(": ")
	} else if f.Line > 0 {
		fmt.Fprintf(&b, "line %d: ", f.Line)
	}
	if f.Key != "" {
		b.WriteString(f.Key + ": ")
	}
	b.WriteString(f.Text)
	if f.Hint != "" {
		b.WriteString(" (" + f.Hint + ")")
	}
	return oneLine(b.String())
}

// oneLine replaces control characters, so that a fault stays on one line.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\r' || r == '\t' {
			return ' '
		}
		if r < ' ' || r == 0x7f {
			return '�'
		}
		return r
	}, s)
}

// A List is the faults of one input. The zero List is ready to use.
type List []Fault

// Add appends a fault.
func (l *List) Add(f Fault) { *l = append(*l, f) }

// Err returns the list in the order of its lines as an error, or nil where it is empty.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	sort.SliceStable(l, func(i, j int) bool { return l[i].Line < l[j].Line })
	return l
}

// maxSimilar is how many faults of one kind a list shows.
const maxSimilar = 10

// Error returns a line for each fault. Of faults that differ in what they quote alone
// only the first ten are shown, and then how many more there are.
func (l List) Error() string {
	var lines []string
	seen := map[Fault]int{}
	var kinds []Fault
	for _, f := range l {
		kind := f.withoutQuoted()
		seen[kind]++
		switch n := seen[kind]; {
		case n <= maxSimilar:
			lines = append(lines, f.Error())
		case n == maxSimilar+1:
			kinds = append(kinds, kind)
		}
	}
	for _, kind := range kinds {
		more := Fault{File: kind.File, Key: kind.Key, Text: fmt.Sprintf("%d more like these: %s", seen[kind]-maxSimilar, kind.Text)}
		lines = append(lines, more.Error())
	}
	return strings.Join(lines, "\n")
}

// quoted is what of a fault's text comes from the input: quotes and numbers.
var quoted = regexp.MustCompile(`"[^"]*"|[\d][\d.,:T/+-]*`)

// withoutQuoted returns what a fault has in common with others of its kind.
func (f Fault) withoutQuoted() Fault {
	return Fault{File: f.File, Key: f.Key, Text: quoted.ReplaceAllString(f.Text, "…")}
}
