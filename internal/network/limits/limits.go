// Package limits defines the criteria for a load on a run: the current of supplies, fuses and
// wires, the drop of feeds, the heat of joints, the light of pixels and the level of their
// data.
//
// A criterion compares a value with its limit. The caller computes the value. Values are SI.
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
	DataLevel                    // V, the least that a pixel reads as high
	SteadyState                  // V, minimum of regulated pixels; below it they have run away
	Criteria                     // number of criteria
)

func (c Criterion) String() string {
	return [...]string{"colour", "brightness", "feed drop", "joint heat", "fuse", "ampacity", "supply", "data level", "steady state"}[c]
}

// Utilisation is a value of one part of a run beside its limit.
type Utilisation struct {
	Criterion    Criterion
	Subject      string  // the feed, joint, supply or reel
	Pixel        int     // of the reel, from 1; 0 where the subject is no reel
	Value, Limit float64 // in the unit of Criterion
}

// Ratio returns Value/Limit; above 1 the limit is exceeded. It returns 0 for a limit of 0,
// one that the run file does not state.
func (u Utilisation) Ratio() float64 {
	if u.Limit <= 0 {
		return 0
	}
	return u.Value / u.Limit
}

// Holds reports whether the value is within the limit.
func (u Utilisation) Holds() bool { return u.Ratio() <= 1 }
