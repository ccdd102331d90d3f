package run

import (
	"fmt"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
)

// PlaceKind is the kind of part that a place belongs to.
type PlaceKind int

const (
	AtSupply PlaceKind = iota
	AtJunction
	AtReel
)

// Place is where a pair of conductors can be touched: a supply's terminals, a
// junction, or a pixel of a reel.
type Place struct {
	Kind  PlaceKind
	Index int // into Supplies, Junctions or Reels
	Pixel int // from 1; AtReel only
}

// Point is one conductor at one place.
type Point struct {
	Place
	Rail Rail
}

// PlaceName returns the name of a place as a run file writes it.
func (r *Run) PlaceName(p Place) string {
	switch p.Kind {
	case AtSupply:
		return r.Supplies[p.Index].Name
	case AtJunction:
		return r.Junctions[p.Index].Name
	}
	reel := r.Reels[p.Index]
	switch p.Pixel {
	case 1:
		return reel.Name + ".start"
	case reel.Pixels:
		return reel.Name + ".end"
	}
	return fmt.Sprintf("%s.%d", reel.Name, p.Pixel)
}

// PointName returns the name of a point as a reading writes it.
func (r *Run) PointName(p Point) string { return r.PlaceName(p.Place) + p.Rail.Sign() }

// Place finds a place by its name. The error's hint names the nearest one.
func (r *Run) Place(name string) (Place, error) {
	for i, s := range r.Supplies {
		if s.Name == name {
			return Place{Kind: AtSupply, Index: i}, nil
		}
	}
	for i, j := range r.Junctions {
		if j.Name == name {
			return Place{Kind: AtJunction, Index: i}, nil
		}
	}
	if r.ReelIndex(name) >= 0 {
		return Place{}, fault.Fault{Text: fmt.Sprintf("%q is a reel, which has many places", name),
			Hint: fmt.Sprintf("%[1]s.start, %[1]s.end or %[1]s.<pixel number>", name)}
	}
	dot := strings.LastIndexByte(name, '.')
	if dot < 0 {
		return Place{}, fault.Fault{Text: fmt.Sprintf("no supply or junction is named %q", name),
			Hint: fault.Suggest(name, r.placeNames())}
	}
	for i, reel := range r.Reels {
		if reel.Name == name[:dot] {
			return reel.place(i, name[dot+1:])
		}
	}
	return Place{}, fault.Fault{Text: fmt.Sprintf("no reel is named %q", name[:dot]),
		Hint: fault.Suggest(name[:dot], r.reelNames())}
}

// place returns a place on reel i by the text after the dot.
func (reel Reel) place(i int, spot string) (Place, error) {
	at := Place{Kind: AtReel, Index: i}
	switch spot {
	case "start":
		at.Pixel = 1
		return at, nil
	case "end":
		at.Pixel = reel.Pixels
		return at, nil
	}
	n, err := strconv.Atoi(spot)
	if err != nil || strconv.Itoa(n) != spot {
		return Place{}, fault.Fault{Text: fmt.Sprintf("reel %q has no place %q", reel.Name, spot),
			Hint: fault.Suggest(spot, []string{"start", "end"}) + ", or a pixel number"}
	}
	if n < 1 || n > reel.Pixels {
		return Place{}, fault.Fault{Text: fmt.Sprintf("reel %q has no pixel %d", reel.Name, n),
			Hint: fmt.Sprintf("its pixels are 1 to %d", reel.Pixels)}
	}
	at.Pixel = n
	return at, nil
}

// Point finds a point by its name, such as west.start+ or A-.
func (r *Run) Point(name string) (Point, error) {
	rail := Plus
	switch {
	case strings.HasSuffix(name, "+"):
	case strings.HasSuffix(name, "-"), strings.HasSuffix(name, "−"):
		rail = Minus
	default:
		hint := "such as " + name + "+"
		return Point{}, fault.Fault{Text: fmt.Sprintf("point %q does not say which conductor", name), Hint: hint}
	}
	bare := strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(name, "+"), "-"), "−")
	at, err := r.Place(bare)
	return Point{at, rail}, err
}

// placeNames lists the names of places without pixel numbers, for suggestions.
func (r *Run) placeNames() []string {
	var names []string
	for _, s := range r.Supplies {
		names = append(names, s.Name)
	}
	for _, j := range r.Junctions {
		names = append(names, j.Name)
	}
	for _, name := range r.reelNames() {
		names = append(names, name+".start", name+".end")
	}
	return names
}

func (r *Run) reelNames() []string {
	var names []string
	for _, reel := range r.Reels {
		names = append(names, reel.Name)
	}
	return names
}

// FeedIndex returns the index of a feed by its name, or -1.
func (r *Run) FeedIndex(name string) int {
	for i, f := range r.Feeds {
		if f.Name == name {
			return i
		}
	}
	return -1
}

// StepIndex returns the index of a step by its name, or -1.
func (r *Run) StepIndex(name string) int {
	for i, s := range r.Steps {
		if s.Name == name {
			return i
		}
	}
	return -1
}

// OwnMeters returns the meters of the run file, without those that the profiles of probes have brought.
func (r *Run) OwnMeters() []Meter { return r.Meters[:len(r.Meters)-r.Brought] }

// MeterIndex returns the index of a meter by its name, or -1.
func (r *Run) MeterIndex(name string) int {
	for i, m := range r.Meters {
		if m.Name == name {
			return i
		}
	}
	return -1
}

// ReelIndex returns the index of a reel by its name, or -1.
func (r *Run) ReelIndex(name string) int {
	for i, reel := range r.Reels {
		if reel.Name == name {
			return i
		}
	}
	return -1
}
