package drift

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"ohmkeep/internal/drift/nightly"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Follower updates a State with the readings of one run, a day at a time.
type Follower struct {
	run    *run.Run
	reader *nightly.Reader
	State  *State

	last int64 // s since 1970, of the newest reading of the day that is read; 0 = none
}

// Follow returns a Follower that continues from a State.
func Follow(r *run.Run, s *State) *Follower {
	return &Follower{run: r, reader: nightly.NewReader(r), State: s}
}

// Call is a change that is reported (called) for the first time.
type Call struct {
	Kind run.Kind
	Name string
	What string // step (a jump), ramp or intermittent
}

// Add takes one reading of a day, in the order of time.
func (f *Follower) Add(day int64, x *reading.Reading) {
	f.reader.Add(day, x, &f.State.Sensed)
	f.last = max(f.last, x.Time.Unix())
}

// Night updates the State with the added readings of a day and returns the changes that they show
// for the first time. A day that was folded already is replaced. A day without readings changes
// nothing.
func (f *Follower) Night(day int64) ([]Call, error) {
	if f.last == 0 {
		return nil, nil
	}
	s := f.State
	nights, err := f.reader.Day(day, &s.Sensed)
	if err != nil {
		return nil, err
	}
	s.Day = max(s.Day, day)
	s.Last = max(s.Last, f.last)
	f.last = 0
	return f.fold(nights), nil
}

// fold updates the series with the nights of one day.
func (f *Follower) fold(nights []nightly.Night) []Call {
	s := f.State
	var touched []*track
	for i := range nights {
		n := &nights[i]
		if n.Key.Step != "" {
			s.Check = max(s.Check, n.At)
		}
		t := s.track(n, f.run)
		t.take(n)
		touched = append(touched, t)
	}
	var calls []Call
	for _, t := range touched {
		for _, what := range s.detect(t) {
			if !s.calledAlready(t, what) {
				calls = append(calls, Call{t.Kind, t.Name, what})
			}
		}
		t.thin()
	}
	return calls
}

// calledAlready reports whether another series of the same element has shown the same change in the
// last quietDays. A feed has two series.
func (s *State) calledAlready(t *track, what string) bool {
	for _, o := range s.Tracks {
		if o == t || o.Kind != t.Kind || o.Name != t.Name {
			continue
		}
		for _, x := range o.Stretch {
			if string(x.Cause) == what && t.Points[len(t.Points)-1].At-x.Called < quietDays*86400 {
				return true
			}
		}
		if what == "intermittent" && o.Bursting {
			return true
		}
	}
	return false
}

// track returns the series of a night, and adds it to the State if it is new.
func (s *State) track(n *nightly.Night, r *run.Run) *track {
	e := n.Element
	var t *track
	for _, old := range s.Tracks {
		if old.Kind == n.Key.Kind && old.Name == n.Key.Name && old.Step == n.Key.Step {
			t = old
		}
	}
	if t == nil {
		t = &track{Kind: n.Key.Kind, Name: n.Key.Name, Step: n.Key.Step}
		s.Tracks = append(s.Tracks, t)
	}
	t.Nominal, t.Wire, t.Limit = e.Nominal, e.Wire, 0
	if !math.IsNaN(e.Limit) {
		t.Limit = float32(e.Limit)
	}
	t.Ring = e.Ring
	t.From, t.To = r.PlaceName(e.From), r.PlaceName(e.To)
	for _, note := range s.Notes {
		if concerns(note.Text, e, r) {
			t.note(note)
		}
	}
	return t
}

// take adds a night; a night of the same day replaces the earlier one.
func (t *track) take(n *nightly.Night) {
	p := point{Day: n.Day, At: n.At, Ohms: float32(n.Value.Ohms), Error: float32(n.Value.Error), CommonError: float32(n.Value.CommonError),
		Drop: float32(n.Drop), Amps: float32(n.Amps), Offset: float32(n.Offset), OffsetError: float32(n.OffsetError), DarkAmps: float32(n.DarkAmps), BurstRise: float32(n.BurstRise),
		Samples: int32(n.Samples), Bursts: int32(n.Bursts), FirstBurst: n.FirstBurst}
	if n.Value.TemperatureRead {
		p.Flags |= temperatureRead
	}
	if !n.Valid || !(n.Value.Error > 0) || math.IsInf(n.Value.Ohms, 0) || math.IsNaN(n.Value.Ohms) {
		p.Flags |= noValue
	}
	if len(t.Stretch) == 0 {
		t.Stretch = []stretch{{At: p.At, Cause: begun}}
		t.Meters = n.Meters
	}
	if n.Meters != t.Meters && t.replaceable(n.Day) {
		t.Stretch = append(t.Stretch, stretch{At: p.At, Cause: replaced, Called: p.At, Text: "a sensor was replaced"})
		t.Meters = n.Meters
	}
	i, same := slices.BinarySearchFunc(t.Points, p.Day, func(p point, day int64) int { return cmp.Compare(p.Day, day) })
	if same {
		p.Flags |= t.Points[i].Flags & outlier
		t.Points[i] = p
		return
	}
	t.Points = slices.Insert(t.Points, i, p)
}

// replaceable reports whether a new sensor may begin a stretch on a day. It may only on a day after
// the newest night, not where an old day is folded again.
func (t *track) replaceable(day int64) bool {
	return len(t.Points) == 0 || day > t.Points[len(t.Points)-1].Day
}

// Take folds readings in the order of time, day by day, and returns the changes that they show for
// the first time. The first reading should be the first of its day.
func (f *Follower) Take(readings iter.Seq2[reading.Reading, error]) (calls []Call, err error) {
	var day int64
	fold := func() error {
		found, err := f.Night(day)
		calls = append(calls, found...)
		return err
	}
	for x, err := range readings {
		if err != nil {
			return calls, err
		}
		if d := DayOf(x); d != day {
			if err := fold(); err != nil {
				return calls, err
			}
			day = d
		}
		f.Add(day, &x)
	}
	return calls, fold()
}

// DayOf returns the day that a reading is folded with, in days since 1970, UTC.
func DayOf(x reading.Reading) int64 { return x.Time.Unix() / 86400 }
