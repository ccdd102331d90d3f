// Package limits holds the criteria that a load on a run is held to, each said once: the
// current of supplies, fuses and wires, the drop of feeds, the heat of joints, the light of
// pixels and the level of their data.
//
// A criterion compares a value with its limit; what has the value, and at which current,
// is for the caller. Values are SI.
//
// One rule holds for every continuous current: a supply, a fuse and a wire carry at most
// 80 % of their rated amperes. For fuses and wires it is NFPA 70 (NEC), 215.2(A)(1) and
// 215.3: both are rated at 125 % of a load that lasts three hours or more (from memory).
// That code is about the wiring of premises; to hold a strip's feeds and supplies to the
// same is common practice, no source. Local codes decide.
package limits

// Criterion is a limit that a load can exceed.
type Criterion int

const (
	Colour      Criterion = iota // distance in CIE 1976 u′v′ from the same colour at full voltage
	Brightness                   // part of the luminance at full voltage that is lost
	FeedDrop                     // V, both conductors
	JointHeat                    // W, both conductors
	Fuse                         // A
	Ampacity                     // A, of a feed's wire
	Supply                       // A
	DataLevel                    // V, that a pixel takes for a high
	SteadyState                  // V, that regulated pixels need; with less they have run away
	Criteria                     // how many there are
)

func (c Criterion) String() string {
	return [...]string{"colour", "brightness", "feed drop", "joint heat", "fuse", "ampacity", "supply", "data level", "steady state"}[c]
}

// Utilisation is how far one part of a run uses up a limit.
type Utilisation struct {
	Criterion    Criterion
	Subject      string // the feed, joint, supply or reel
	Pixel        int    // of the reel, from 1; 0 where the subject is no reel
	Value, Limit float64
}

// Ratio is the part of the limit that is used; above 1 it is broken. A limit that the run
// file does not state is 0 and never broken.
func (u Utilisation) Ratio() float64 {
	if u.Limit <= 0 {
		return 0
	}
	return u.Value / u.Limit
}

// Holds reports whether the limit is kept.
func (u Utilisation) Holds() bool { return u.Ratio() <= 1 }
