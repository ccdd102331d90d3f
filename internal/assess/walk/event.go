package walk

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Kind is the kind of an event.
type Kind string

// The kinds of events.
const (
	Begin  Kind = "begin"  // the walk begins
	Shown  Kind = "shown"  // the run shows Step
	Read   Kind = "read"   // a reading was taken
	Skip   Kind = "skip"   // a place is left out in Step; with no From, the whole step. A doubtful reading there is kept without Withdraws
	Undo   Kind = "undo"   // the last event that is no undo, redo or note does not count
	Redo   Kind = "redo"   // the last event that was undone counts again
	Note   Kind = "note"   // a person notes Text
	Pause  Kind = "pause"  // the person stops for a while
	Resume Kind = "resume" // and goes on
	End    Kind = "end"    // the walk ends here, also with readings left
)

// Event is one event of a walk. Stores keep it as JSON, so a key is never given another meaning.
type Event struct {
	Number    int       `json:"n"` // 1, 2, … over all walks of a run
	Time      time.Time `json:"time"`
	Kind      Kind      `json:"kind"`
	Step      string    `json:"step,omitempty"`
	Quantity  string    `json:"quantity,omitempty"` // as in a readings file
	From      string    `json:"from,omitempty"`
	To        string    `json:"to,omitempty"`
	Value     string    `json:"value,omitempty"` // as displayed
	Unit      string    `json:"unit,omitempty"`
	Meter     string    `json:"meter,omitempty"`
	Doubt     *Doubt    `json:"doubt,omitempty"`     // the reading contradicts those before it, and is asked again
	Replaces  bool      `json:"replaces,omitempty"`  // the earlier readings of this walk there are withdrawn
	Withdraws bool      `json:"withdraws,omitempty"` // of Skip: the readings of this walk there are withdrawn
	Fixed     bool      `json:"fixed,omitempty"`     // taken by a sensor that stays at its place
	Text      string    `json:"text,omitempty"`
	Since     time.Time `json:"since,omitzero"` // of Begin: readings from then on count as read before the walk
}

// ReadingEvent returns the event of a reading, without its number.
func ReadingEvent(x reading.Reading) Event {
	return Event{Kind: Read, Time: x.Time, Step: x.Step, Quantity: x.Quantity.String(), From: x.From, To: x.To, Value: x.Text, Unit: x.Unit, Meter: x.Meter}
}

// Reading returns the reading of an event of kind Read. Its errors are those of reading.Value.
func (e Event) Reading() (reading.Reading, error) {
	q := slices.Index(run.QuantityNames, e.Quantity)
	if q < 0 {
		return reading.Reading{}, fault.Fault{Key: "quantity", Text: fmt.Sprintf("%q is no quantity", e.Quantity), Hint: "voltage, current or temperature"}
	}
	x := reading.Reading{Time: e.Time, Step: e.Step, Quantity: run.Quantity(q), From: e.From, To: e.To, Text: e.Value, Unit: e.Unit, Meter: e.Meter}
	var err error
	x.Value, err = reading.Value(x.Quantity, e.Value, e.Unit)
	return x, err
}

// key identifies a reading that can be taken, with any meter.
type key struct{ quantity, from, to, step string }

func (e Event) key() key { return key{e.Quantity, e.From, e.To, e.Step} }

func keyOf(n assessment.Next) key { return key{n.Quantity.String(), n.From, n.To, n.Step} }

// Skip returns the event that leaves a reading out, without its number and time. One that is asked again because
// it contradicts others is withdrawn.
func (w Walk) Skip(n assessment.Next) Event {
	e := SkipEvent(n)
	again, doubt := w.again()
	e.Withdraws = doubt != nil && keyOf(again) == e.key()
	return e
}

// SkipEvent returns the event that leaves out a reading that was not taken, without its number and time.
func SkipEvent(n assessment.Next) Event {
	return Event{Kind: Skip, Step: n.Step, Quantity: n.Quantity.String(), From: n.From, To: n.To}
}

// Marshal returns the event as one line of JSON.
func (e Event) Marshal() string {
	text, _ := json.Marshal(e) // strings, numbers and a time
	return string(text)
}

// ParseEvent is the inverse of Marshal.
func ParseEvent(text string) (e Event, err error) {
	err = json.Unmarshal([]byte(text), &e)
	return e, err
}

// Summary returns what a list of what happened to a run says of an event that Marshal wrote; "" =
// the event is left out of such a list, as readings and skipped places are.
func Summary(text string) string {
	e, err := ParseEvent(text)
	if err != nil {
		return ""
	}
	switch e.Kind {
	case Begin:
		return "a walk along the run began"
	case End:
		return "the walk was ended"
	case Note:
		return "noted on the walk: " + e.Text
	}
	return ""
}
