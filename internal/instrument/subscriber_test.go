package instrument

import (
	"testing"
	"time"

	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
)

// What the broker had kept is skipped; what waited there has an uncertain date; each is
// dated by its arrival.
func TestMessagesOfTheBroker(t *testing.T) {
	p, err := profile.Load("mqtt-json", "")
	if err != nil {
		t.Fatal(err)
	}
	var heard []Event
	now := time.Unix(1000, 0)
	s := &subscriber{profile: p, options: Options{Topic: "b", Clock: func() time.Time { return now }, Log: func(e Event) { heard = append(heard, e) }}}
	arrived := time.Now().Add(-3 * time.Second)
	for _, m := range []*mqtt.Message{
		{Topic: "b", Payload: []byte(`{"volts": 4.810}`), Retained: true},
		{Topic: "b", Payload: []byte(`{"volts": 4.820}`), Late: true},
		{Topic: "b", Payload: []byte(`{"volts": 4.830}`)},
		{Topic: "b", Payload: []byte(`{`), Late: true},
	} {
		m.Arrived = arrived
		s.parseMessage(m)
	}
	kinds := []EventKind{Skipped, Values, Values, Bad}
	qualities := []reading.Quality{0, reading.ClockUncertain, reading.Good, 0}
	for i, e := range heard {
		if e.Kind != kinds[i] || e.Done == nil || (len(e.Samples) > 0) != (e.Kind == Values) {
			t.Errorf("message %d: %+v", i, e)
		}
		if age := now.Sub(e.Time); age < 3*time.Second || age > 4*time.Second {
			t.Errorf("message %d is dated %v ago", i, age)
		}
		for _, x := range e.Samples {
			if x.Quality != qualities[i] || x.Time != e.Time {
				t.Errorf("message %d: %+v", i, x)
			}
		}
	}
	if c := s.Counters(); len(heard) != 4 || c != (Counters{Lines: 4, Bad: 1, Skipped: 1}) {
		t.Errorf("%+v", c)
	}
}
