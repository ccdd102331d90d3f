package run

import "fmt"

// Kind is the kind of an element, a part of a run that has a resistance.
type Kind string

const (
	KindJoint  Kind = "joint"
	KindFeed   Kind = "feed"
	KindReel   Kind = "reel"
	KindSupply Kind = "supply"
	KindPath   Kind = "path" // everything between two places that are measured
)

// Rail is one of the two conductors. The resistance of an element can also be that of both in
// series, the loop.
type Rail int

const (
	Plus Rail = iota
	Minus
	Loop // plus and minus together
)

var railNames = [...]string{"plus", "minus", "loop"}

func (r Rail) String() string { return railNames[r] }

// Sign returns the sign at the end of a point's name; it panics for Loop.
func (r Rail) Sign() string { return [...]string{"+", "-"}[r] }

// MarshalText returns the rail's name.
func (r Rail) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads a rail's name.
func (r *Rail) UnmarshalText(text []byte) error {
	for i, name := range railNames {
		if name == string(text) {
			*r = Rail(i)
			return nil
		}
	}
	return fmt.Errorf("%q is not a rail", text)
}
