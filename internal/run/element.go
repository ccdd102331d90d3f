package run

import "fmt"

// Kind is what an element is: a part of a run that has a resistance.
type Kind string

const (
	KindJoint  Kind = "joint"
	KindFeed   Kind = "feed"
	KindReel   Kind = "reel"
	KindSupply Kind = "supply"
	KindPath   Kind = "path" // all that lies between two places that are measured
)

// Rail is one of the two conductors, or for the resistance of an element both together.
type Rail int

const (
	Plus Rail = iota
	Minus
	Loop // plus and minus together
)

var railNames = [...]string{"plus", "minus", "loop"}

func (r Rail) String() string { return railNames[r] }

// Sign returns the mark that ends a point's name; only Plus and Minus have one.
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
