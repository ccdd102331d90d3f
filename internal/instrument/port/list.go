package port

import (
	"cmp"
	"strings"
)

// Listed is a serial port that a run file may name.
type Listed struct {
	Name   string // as a run file writes it
	Device string // where it leads to now; "" = nothing more is known
}

// byName orders names as people do: COM3 before COM10.
func byName(a, b Listed) int {
	prefixA, prefixB := strings.TrimRight(a.Name, "0123456789"), strings.TrimRight(b.Name, "0123456789")
	return cmp.Or(cmp.Compare(prefixA, prefixB), cmp.Compare(len(a.Name), len(b.Name)), cmp.Compare(a.Name, b.Name))
}
