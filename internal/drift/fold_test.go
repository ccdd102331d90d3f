package drift

import (
	"bytes"
	"iter"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
)

// eventful has a step, a ramp and bursts.
func eventful(days int) months.Scenario {
	story := usual(days)
	story.Every = 2 * time.Hour
	story.Change = func(day float64, p *plant.Plant, rng *rand.Rand) {
		if day > 40 {
			p.Joints[0].Plus += 0.02
		}
		if day > 50 {
			p.Joints[1].Plus += 0.2 * (day - 50) / 365
		}
		if day > 60 && rng.Float64() < 0.1 {
			p.Feeds[0].Plus += 0.1
		}
	}
	return story
}

// A daemon that restarts every night, with nothing but the bytes it kept, calls the same
// changes on the same nights as one that never stops, each once, and ends with the same
// state and the same history as a fold of all readings at once.
func TestRestartsChangeNothing(t *testing.T) {
	r := runtest.Parse(t, gallery)
	story := eventful(110)
	var all []reading.Reading
	var kept []byte
	calls := map[Call]int{}
	day := story.Begin.Unix() / 86400
	for list, err := range months.Days(r, story, 11) {
		if err != nil {
			t.Fatal(err)
		}
		s, err := Decode(kept)
		if err != nil {
			t.Fatal(err)
		}
		found, err := night(Follow(r, s), day, list)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range found {
			calls[c]++
		}
		if kept, err = s.Encode(); err != nil {
			t.Fatal(err)
		}
		all = append(all, list...)
		day++
	}
	whole, err := foldAll(r, func(yield func(reading.Reading, error) bool) {
		for _, x := range all {
			if !yield(x, nil) {
				return
			}
		}
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if b, _ := whole.State.Encode(); !bytes.Equal(b, kept) {
		t.Error("restarts change the state")
	}
	s, _ := Decode(kept)
	if a, b := describe(s.History(r)), describe(whole.State.History(r)); a != b {
		t.Errorf("restarts change the history:\n%s\nbeside\n%s", a, b)
	}
	for _, want := range []Call{{"joint", "west-north", "step"}, {"joint", "north-east", "ramp"}, {"feed", "near", "intermittent"}} {
		if calls[want] != 1 {
			t.Errorf("%v is called %d times: %v", want, calls[want], calls)
		}
		delete(calls, want)
	}
	if len(calls) > 0 {
		t.Errorf("also called: %v", calls)
	}
}

// A day that is folded again, because more of its readings came, takes its own place.
func TestADayAgain(t *testing.T) {
	r := runtest.Parse(t, gallery)
	f := folded(t, r, usual(30), 1)
	before, _ := f.State.Encode()
	last := spring.AddDate(0, 0, 29)
	for list, err := range months.Days(r, usual(30), 1) {
		if err != nil {
			t.Fatal(err)
		}
		if list[0].Time.Equal(last) {
			if calls, err := night(f, DayOf(list[0]), list); err != nil || len(calls) > 0 {
				t.Errorf("%v, %v", calls, err)
			}
		}
	}
	if after, _ := f.State.Encode(); !bytes.Equal(before, after) {
		t.Error("the same day again changes the state")
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, bad := range []string{"x", "{", `{"version":99}`, `{"version":2,"tracks":[null]}`, `{"version":2,"tracks":[{"points":[[1,2,3,4,5,6,7,8,9,1,1,1,1,1,1]]}]}`,
		`{"version":2,"tracks":[{"points":[[1,2]]}]}`} {
		if s, err := Decode([]byte(bad)); err == nil {
			t.Errorf("%s is %+v", bad, s)
		}
	}
	if s, err := Decode(nil); err != nil || s.Version != Version {
		t.Errorf("%v, %v", s, err)
	}
}

// A joint of which no night was of use, with a note in between, is unproven.
func TestHistoryOfNoUsableNight(t *testing.T) {
	for _, stretches := range []string{`[{"cause":"begun"},{"at":200000,"cause":"noted"}]`, `[{"at":200000,"cause":"step"},{"at":300000,"cause":"noted"}]`} {
		s, err := Decode([]byte(`{"version":2,"tracks":[{"kind":"joint","name":"a","points":[[1,86400,9,1,0,4,0,0,0,0,0,0,0,0,0]],"stretches":` + stretches + `}]}`))
		if err != nil {
			t.Fatal(err)
		}
		if h := s.History(runtest.Parse(t, gallery)); h.Series[0].Name != "a" || h.Series[0].Verdict != history.Unproven {
			t.Errorf("%s: %+v", stretches, h.Series[0])
		}
	}
	s, err := Decode([]byte(`{"version":2,"tracks":[{"kind":"joint","name":"a"}]}`))
	if err != nil {
		t.Fatal(err)
	}
	if h := s.History(runtest.Parse(t, gallery)); h.Series[0].Verdict != history.Unproven {
		t.Errorf("%+v", h.Series[0])
	}
}

func FuzzDecode(f *testing.F) {
	r := runtest.Parse(f, gallery)
	b, _ := folded(f, r, usual(12), 1).State.Encode()
	f.Add(b)
	f.Add([]byte(`{"version":2}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := Decode(b)
		if err != nil {
			return
		}
		s.History(r)
	})
}

// A repair that was noted parts what was from what is: the verdict is of what is.
func TestANoteBeginsAnew(t *testing.T) {
	r := runtest.Parse(t, gallery)
	story := usual(120)
	story.Every = 2 * time.Hour
	story.Change = func(day float64, p *plant.Plant, _ *rand.Rand) {
		if day > 30 && day < 80.5 {
			p.Joints[1].Plus += 0.04
		}
	}
	repaired := Note{At: story.Begin.Add(time.Duration(80.5 * 24 * float64(time.Hour))).Unix(), Text: "re-made joint 2"}
	f, err := foldAll(r, months.Readings(r, story, 8), []Note{repaired})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range f.State.History(r).Series {
		if s.Kind == "joint" && s.Name == "north-east" {
			if s.Verdict != history.Steady || len(s.Marks) != 1 || len(s.Changes) != 1 || s.Marks[0].Text != "re-made joint 2" {
				t.Fatalf("%+v", s)
			}
			if fall := s.Marks[0].Before - s.Marks[0].After; fall < 0.034 || fall > 0.046 {
				t.Errorf("the repair took %g Ω", fall)
			}
		} else if s.Kind != "path" && len(s.Marks) > 0 {
			t.Errorf("the note concerns %s %s", s.Kind, s.Name)
		}
	}
}

func TestAbout(t *testing.T) {
	r := runtest.Parse(t, gallery)
	for _, c := range []struct {
		text string
		want []string
	}{
		{"re-made joint 2", []string{"north-east"}},
		{"Re-made Joint west-north", []string{"west-north"}},
		{"new feed near, joint 1 too", []string{"west-north", "near"}},
		{"cleaned everything", []string{"west-north", "north-east", "near", "west"}},
		{"Solder again (joint 2).", []string{"north-east"}},
		{"a new reel: west", []string{"west-north", "west"}},
		{"the end of west at west-north", []string{"west-north"}},
		{"re-made joint 3", nil},
		{"re-made joint 3 and joint 1", []string{"west-north"}},
		{"jointly 2 of us", []string{"west-north", "north-east", "near", "west"}},
	} {
		var got []string
		for _, x := range []elements.Element{{Kind: "joint", Name: "west-north"}, {Kind: "joint", Name: "north-east"}, {Kind: "feed", Name: "near"}, {Kind: "reel", Name: "west"}} {
			if concerns(c.text, &x, r) {
				got = append(got, x.Name)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%q is about %v, not %v", c.text, got, c.want)
		}
	}
}

// A State is bounded: after six years it holds no more nights than after three, and
// what was called stays.
func TestStateIsBounded(t *testing.T) {
	r := runtest.Parse(t, gallery)
	tr := &track{Kind: "joint", Name: "west-north", Step: "white 20 %", Nominal: 0.003, Limit: 0.015, From: "west.end", To: "north.start"}
	s := &State{Version: Version, Tracks: []*track{tr}}
	rng := rand.New(rand.NewPCG(1, 1))
	for day := range int64(2200) {
		ohms := 0.004 + 0.001*rng.NormFloat64()
		if day > 300 {
			ohms += 0.02
		}
		p := point{Day: 20000 + day, At: (20000+day)*86400 + 10000, Ohms: float32(ohms), Error: 0.001, CommonError: 0.001, Drop: float32(ohms - 0.003), Amps: 1, Samples: 1, Flags: temperatureRead}
		if day == 0 {
			tr.Stretch = []stretch{{At: p.At, Cause: begun}}
		}
		tr.Points = append(tr.Points, p)
		s.detect(tr)
		tr.thin()
		if len(tr.Points) > mostNights {
			t.Fatalf("%d nights", len(tr.Points))
		}
	}
	b, err := s.Encode()
	if err != nil || len(b) > 150_000 {
		t.Errorf("%d bytes, %v", len(b), err)
	}
	h := s.History(r)
	x := h.Series[0]
	if len(x.Changes) != 1 || x.Verdict != history.Jumped {
		t.Fatal(describe(h))
	}
	// Thinned nights date a change less well, but a year's are not lost.
	if on := x.Changes[0].Time.Unix()/86400 - 20300; on < -20 || on > 20 || x.Changes[0].After-x.Changes[0].Before < 0.018 {
		t.Error(describe(h))
	}
}

// foldAll folds all readings of a run, in the order of time, into a new State.
func foldAll(r *run.Run, readings iter.Seq2[reading.Reading, error], notes []Note) (*Follower, error) {
	f := Follow(r, &State{Version: Version, Notes: notes})
	_, err := f.Take(readings)
	return f, err
}
