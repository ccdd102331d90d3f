package runfile

import (
	"errors"
	"fmt"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/conductor"
	"ohmkeep/internal/run/toml"
)

func (r *reader) readSupplies() {
	tables := r.root.Tables("supply")
	if len(tables) == 0 {
		r.root.Missing("supply", "a run has at least one [[supply]]")
	}
	r.places = names{}
	for _, t := range tables {
		s := run.Supply{
			Name:  r.readLabel(t, r.places),
			Volts: requireNumber(t, "volts", volts, "as trimmed, at its terminals without load"),
			Amps:  requireNumber(t, "amps", amps, "what it is rated at"),
			Known: t.Has("milliohms"),
		}
		s.Ohms = readNumberOr(t, "milliohms", 0, milliohms) / 1000
		r.run.Supplies = append(r.run.Supplies, s)
	}
}

func (r *reader) readJunctions() {
	r.junctions = r.root.Tables("junction")
	for _, t := range r.junctions {
		r.run.Junctions = append(r.run.Junctions, run.Junction{Name: r.readLabel(t, r.places)})
	}
}

func (r *reader) readFeeds() {
	r.feeds = r.root.Tables("feed")
	if len(r.feeds) == 0 {
		r.root.Missing("feed", "a run has at least one [[feed]]")
	}
	taken := names{}
	for _, t := range r.feeds {
		feed := run.Feed{Name: r.readLabel(t, taken)}
		for _, end := range []string{"from", "to"} {
			if _, ok := t.Text(end); !ok && !t.Has(end) {
				t.Missing(end, map[string]string{"from": "a supply or a junction", "to": "such as west.start, or a junction"}[end])
			}
		}
		feed.Fuse = readNumberOr(t, "fuse_amps", 0, amps)
		readWire(t, &feed)
		r.run.Feeds = append(r.run.Feeds, feed)
	}
}

// readWire reads the conductor of a feed.
func readWire(t *toml.Table, feed *run.Feed) {
	size, hasSize := t.Text("conductor")
	length, hasLength := readNumber(t, "metres", metres)
	loop, stated := readNumber(t, "milliohms", milliohms)
	feed.Material, _ = t.Text("material")
	feed.Stranding, _ = t.Text("stranding")
	if feed.Material == "" {
		feed.Material = "copper"
	}
	if feed.Stranding == "" {
		feed.Stranding = "solid"
	}
	if !t.Has("milliohms") && !(t.Has("metres") && t.Has("conductor")) {
		missing := "conductor"
		if t.Has("conductor") {
			missing = "metres"
		}
		t.Missing(missing, `a feed states metres and conductor, such as "18 AWG", or milliohms`)
	}
	about := size
	if !hasSize {
		about = "1 mm2" // for the metal alone
	}
	wire, err := conductor.Parse(about, feed.Material, feed.Stranding)
	if wrong := (fault.Fault{}); errors.As(err, &wrong) {
		t.Fault(wrong.Key, wrong.Text, wrong.Hint)
		return
	}
	feed.Length, feed.TempCo = length, wire.TempCo()
	if hasSize {
		feed.Conductor = size
		feed.Ampacity, feed.AmpacityBy, _ = wire.Ampacity()
		if hasLength {
			feed.WireOhms = 2 * length * wire.OhmsPerMetre(20)
		}
	}
	feed.Ohms, feed.Stated = feed.WireOhms, stated
	if stated {
		feed.Ohms = loop / 1000
	}
}

// resolveFeeds resolves the places that the feeds connect.
func (r *reader) resolveFeeds() {
	for i, t := range r.feeds {
		feed := &r.run.Feeds[i]
		feed.From = r.end(t, "from", func(p run.Place) string {
			if p.Kind == run.AtReel {
				return "a feed begins at a supply or a junction"
			}
			return ""
		})
		feed.To = r.end(t, "to", func(p run.Place) string {
			if p.Kind == run.AtSupply {
				return "a feed ends at a reel's start, end or pixel, or at a junction"
			}
			return ""
		})
		if feed.From.Kind == run.AtJunction && feed.From == feed.To {
			t.Fault("to", "is where the feed begins", "")
		}
	}
}

// end returns the place at one end of a feed; wrong is the reason why it cannot be that end.
func (r *reader) end(t *toml.Table, key string, wrong func(run.Place) string) run.Place {
	name, ok := t.Text(key)
	if !ok {
		return run.Place{}
	}
	at, err := r.run.Place(name)
	if f := (fault.Fault{}); errors.As(err, &f) {
		t.Fault(key, f.Text, f.Hint)
	} else if why := wrong(at); why != "" {
		t.Fault(key, fmt.Sprintf("%q is at the wrong end", name), why)
	}
	return at
}

// checkConnected reports the parts that are connected to no supply. Only the plus is followed: the
// minus is never cut, so it connects every part that the plus connects.
func (r *reader) checkConnected() {
	for _, i := range r.run.Unfed() {
		r.junctions[i].Fault("", fmt.Sprintf("no feed leads from a supply to junction %q", r.run.Junctions[i].Name),
			"a feed that comes from a supply has to end there")
	}
	for _, i := range r.run.Unreached(run.Plus) {
		hint := "a feed ends at it or at a reel that it is joined to"
		for _, j := range r.run.Joints {
			if j.PlusCut && (j.From == i || j.To == i) {
				hint = fmt.Sprintf("the plus rail is cut at %s: each side needs a feed of its own", j.Name)
			}
		}
		r.reels[i].Fault("", fmt.Sprintf("reel %q gets no plus from any supply", r.run.Reels[i].Name), hint)
	}
}
