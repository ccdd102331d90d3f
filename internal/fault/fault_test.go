package fault

import (
	"fmt"
	"strings"
	"testing"
)

// A list shows ten faults of a kind and counts the rest; other kinds are not hidden by them.
func TestListCountsWhatIsAlike(t *testing.T) {
	var l List
	for i := range 500 {
		l.Add(Fault{File: "r.csv", Line: i + 2, Key: "time", Text: fmt.Sprintf("%q is not a time", fmt.Sprint("day ", i))})
	}
	l.Add(Fault{File: "r.csv", Line: 502, Key: "unit", Text: `"kV" is not a unit`, Hint: "known: V"})
	lines := strings.Split(l.Err().Error(), "\n")
	want := []string{`r.csv:2: time: "day 0" is not a time`, `r.csv:11: time: "day 9" is not a time`, `r.csv:502: unit: "kV" is not a unit (known: V)`,
		"r.csv: time: 490 more like these: … is not a time"}
	if len(lines) != 12 || lines[0] != want[0] || lines[9] != want[1] || lines[10] != want[2] || lines[11] != want[3] {
		t.Errorf("%d lines:\n%s", len(lines), strings.Join(lines, "\n"))
	}
}
