package drift

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/drift/nightly"
	"ohmkeep/internal/run"
)

// Version is the version of the State's format and of the evaluation of its nights. A State of
// another version is computed again from all readings.
const Version = 2

// State holds the series of a run up to a day.
type State struct {
	Version int            `json:"version"`
	Day     int64          `json:"day"`  // the newest, since 1970, UTC; 0 = none
	Last    int64          `json:"last"` // s since 1970, of the newest reading
	Check   int64          `json:"check"`
	Sensed  nightly.Sensed `json:"sensed"`
	Notes   []Note         `json:"notes"`
	Tracks  []*track       `json:"tracks"`

	stricter thresholds // the zero value is the usual one
}

// Note is a person's remark that begins a new stretch, such as after a repair.
type Note struct {
	At   int64  `json:"at"` // s since 1970
	Text string `json:"text"`
}

// track is one series of nights.
type track struct {
	Kind     run.Kind  `json:"kind"`
	Name     string    `json:"name"`
	Step     string    `json:"step"` // "" = by its slope
	Nominal  float64   `json:"nominal"`
	Wire     float64   `json:"wire"`
	Limit    float32   `json:"limit"` // 0 = none
	Ring     bool      `json:"ring"`
	From     string    `json:"from"`
	To       string    `json:"to"`
	Meters   string    `json:"meters"`
	Points   []point   `json:"points"`
	Stretch  []stretch `json:"stretches"`
	Bursts   []burst   `json:"bursts"`
	Bursting bool      `json:"bursting"`

	// Computed from the nights, not stored.
	noise float64 // ≥ 1: ratio of the scatter of the nights to their own standard deviation
	pairs int     // number of pairs of neighbouring nights that it is computed from
}

// cause is why a stretch began.
type cause string

const (
	begun    cause = "begun"
	jumped   cause = "step"
	ramped   cause = "ramp"
	levelled cause = "levelled" // a ramp ended
	replaced cause = "replaced" // a sensor, or its error changed
	noted    cause = "noted"
	shifted  cause = "shifted" // another element's change moved current from rail to rail
)

// stretch is a section of a series, from one change to the next.
type stretch struct {
	At     int64  `json:"at"` // s since 1970
	Cause  cause  `json:"cause"`
	Sloped bool   `json:"sloped"`
	Called int64  `json:"called"` // s since 1970, of the night that showed it
	Text   string `json:"text,omitempty"`
}

// burst is a period in which a contact failed repeatedly.
type burst struct {
	At     int64   `json:"at"`
	Called int64   `json:"called"`
	Last   int64   `json:"last"`
	Rise   float32 `json:"rise"`
}

// point is one night. Its figures are float32, which JSON returns unchanged.
type point struct {
	Day         int64
	At          int64
	Ohms        float32
	Error       float32
	CommonError float32
	Drop        float32 // V; NaN = not known, as for all below
	Amps        float32
	Offset      float32
	OffsetError float32
	DarkAmps    float32 // A
	BurstRise   float32
	Samples     int32
	Bursts      int32
	FirstBurst  int64
	Flags       int32

	sensors difference // computed from all nights, not stored
}

const (
	outlier         = 1 << iota // contradicts its neighbours
	temperatureRead             // a temperature was read
	noValue                     // holds no value, only its bursts
)

func (p *point) is(flag int32) bool { return p.Flags&flag != 0 }

// days is the time of a point in days, the axis of fits.
func (p *point) days() float64 { return float64(p.At) / 86400 }

// MarshalJSON writes a point as an array of numbers; null is not known.
func (p point) MarshalJSON() ([]byte, error) {
	row := []any{p.Day, p.At, p.Samples, p.Bursts, p.FirstBurst, p.Flags}
	for _, v := range []float32{p.Ohms, p.Error, p.CommonError, p.Drop, p.Amps, p.Offset, p.OffsetError, p.DarkAmps, p.BurstRise} {
		if x := float64(v); math.IsNaN(x) || math.IsInf(x, 0) {
			row = append(row, nil)
		} else {
			row = append(row, v)
		}
	}
	return json.Marshal(row)
}

// UnmarshalJSON reads a point as MarshalJSON writes it.
func (p *point) UnmarshalJSON(b []byte) error {
	var whole [6]int64
	var rest [9]*float32
	row := []any{&whole[0], &whole[1], &whole[2], &whole[3], &whole[4], &whole[5]}
	for i := range rest {
		row = append(row, &rest[i])
	}
	n := len(row)
	if err := json.Unmarshal(b, &row); err != nil {
		return err
	}
	if len(row) != n {
		return fmt.Errorf("a night of %d figures instead of %d", len(row), n)
	}
	p.Day, p.At, p.Samples, p.Bursts, p.FirstBurst, p.Flags = whole[0], whole[1], int32(whole[2]), int32(whole[3]), whole[4], int32(whole[5])
	for i, to := range []*float32{&p.Ohms, &p.Error, &p.CommonError, &p.Drop, &p.Amps, &p.Offset, &p.OffsetError, &p.DarkAmps, &p.BurstRise} {
		*to = float32(math.NaN())
		if rest[i] != nil {
			*to = *rest[i]
		}
	}
	return nil
}

// Encode returns a State as versioned JSON.
func (s *State) Encode() ([]byte, error) { return json.Marshal(s) }

// Decode reads a State written by Encode. Without bytes it returns an empty State.
func Decode(b []byte) (*State, error) {
	s := &State{Version: Version}
	if len(b) == 0 {
		return s, nil
	}
	if err := json.Unmarshal(b, s); err != nil {
		return nil, fmt.Errorf("state of drift: %w", err)
	}
	if s.Version != Version {
		return nil, fmt.Errorf("state of drift: form %d, this program knows %d", s.Version, Version)
	}
	for _, t := range s.Tracks {
		if t == nil || len(t.Stretch) == 0 && len(t.Points) > 0 {
			return nil, fmt.Errorf("state of drift: a series without its stretches")
		}
		if !slices.IsSortedFunc(t.Points, func(a, b point) int { return cmp.Compare(a.Day, b.Day) }) {
			return nil, fmt.Errorf("state of drift: nights out of order")
		}
	}
	return s, nil
}

func moment(s int64) time.Time {
	if s == 0 {
		return time.Time{}
	}
	return time.Unix(s, 0).UTC()
}
