package walking

import (
	"slices"
	"strings"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/guide"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// schema is the version of the JSON of State, Live and Order: keys may be added.
const schema = 1

// State is a walk as the page shows it, the JSON of the event "walk" and of GET /walk/state.
type State struct {
	Schema   int    `json:"schema"`
	Number   int    `json:"number"`  // of the last event; an Order says which it has seen
	Learned  int    `json:"learned"` // of the last event that the estimates include
	Ready    bool   `json:"ready"`   // false while the plan is made
	Begun    bool   `json:"begun"`
	Paused   bool   `json:"paused"`
	Practise bool   `json:"practise"` // nothing is stored
	Task     string `json:"task"`     // "step", "read", "learning" or "done"
	Progress string `json:"progress"`
	Taken    int    `json:"taken"`
	Left     int    `json:"left"`
	CanUndo  bool   `json:"undo"`
	CanRedo  bool   `json:"redo"`

	Step   string `json:"step"`   // to set, or of the reading
	Levels string `json:"levels"` // of the step, in words
	Lit    bool   `json:"lit"`    // the step lights pixels

	Place   Place    `json:"place"`   // to read; empty otherwise
	Leads   []string `json:"leads"`   // where the red and the black lead go; one: a feed, for a clamp
	Long    string   `json:"long"`    // the long lead that is needed; "" = none
	Spoken  string   `json:"spoken"`  // what there is to do, to be spoken
	Typed   bool     `json:"typed"`   // the value is typed; else a meter on a port shows it
	Own     bool     `json:"own"`     // a value can be typed although a meter on a port shows it
	Units   []string `json:"units"`   // to type, the usual one first
	Again   string   `json:"again"`   // why the reading is asked again; "" = it is asked for the first time
	Missed  []string `json:"missed"`  // what fixed probes could not read in this step
	Picture string   `json:"picture"` // changes when the picture does

	Headline string    `json:"headline"` // how the walk has ended
	Verdict  string    `json:"verdict"`  // on the run, once the walk has ended
	Failing  string    `json:"failing"`  // what is over its limit, in words
	Rest     []string  `json:"rest"`     // what stays unproven
	Results  []Element `json:"results"`
	Warnings []string  `json:"warnings"`
	Problem  string    `json:"problem"` // why the estimates are not brought up to date; "" = they are
	Truth    string    `json:"truth"`   // what was wrong with the simulated run, once the walk has ended
}

// Place is a reading that can be taken.
type Place struct {
	Quantity string `json:"quantity"`
	From     string `json:"from"`
	To       string `json:"to"`
	Step     string `json:"step"`
}

// Element is a joint, feed or reel with its verdict so far.
type Element struct {
	Name    string `json:"name"`
	Verdict string `json:"verdict"`
	Value   string `json:"value"` // with its unit; "" = too little is known
}

// Live is what the meter on the port shows, the JSON of the event "live".
type Live struct {
	On      bool   `json:"on"`
	Text    string `json:"text"`
	Unit    string `json:"unit"`
	Settled bool   `json:"settled"`
	Why     string `json:"why"` // it is not settled
	Place   Place  `json:"place"`
}

// liveOf returns what the meter shows.
func liveOf(x guide.Live) Live {
	l := Live{On: x.On, Text: x.Text, Unit: x.Unit, Settled: x.Settled, Why: x.Why}
	if r, ok := x.Reading(); ok {
		l.Place = Place{r.Quantity.String(), r.From, r.To, r.Step}
	}
	return l
}

// stateOf returns the state of a walk.
func stateOf(s *guide.Session, x guide.Snapshot) State {
	st := State{Schema: schema, Ready: x.Ready, Practise: x.Practise, Problem: x.Problem}
	if !x.Ready {
		return st
	}
	w, t := x.Walk, x.Task
	st.Number, st.Begun, st.Paused, st.CanUndo, st.CanRedo = w.Number(), len(w.Events()) > 0, w.Paused(), w.CanUndo(), w.CanRedo()
	st.Task, st.Progress, st.Taken, st.Left = string(t.Kind), wording.Progress(t), t.Taken, t.Left
	if i := w.Run().StepIndex(t.Step); i >= 0 && (t.Kind == walk.SetStep || t.Kind == walk.Measure) {
		step := w.Run().Steps[i]
		st.Step, st.Levels, st.Lit = step.Name, wording.Levels(step), step.Lit()
	}
	for _, m := range x.Missed {
		st.Missed = append(st.Missed, m.Place+": "+m.Why)
	}
	st.Warnings = slices.Clone(s.Absent())
	for _, q := range s.Unmeasured() {
		st.Warnings = append(st.Warnings, wording.Unmeasured(q))
	}
	k := w.Known()
	switch t.Kind {
	case walk.SetStep:
		st.Spoken = "Set step " + t.Step
	case walk.Measure:
		st.reading(s, t)
	case walk.Finished:
		st.Headline, st.Rest = wording.Finished(t, k)
		if k != nil {
			st.Verdict, st.Failing = string(k.Verdict), failing(k)
		}
		st.Spoken, st.Truth = st.Headline, s.SimulatedFault()
	}
	if k != nil {
		st.Learned = k.Number()
		st.Results, st.Warnings = results(k), append(st.Warnings, k.Warnings...)
	}
	return st
}

// reading fills in what there is to read.
func (st *State) reading(s *guide.Session, t walk.Task) {
	n := t.Read
	st.Place = Place{n.Quantity.String(), n.From, n.To, n.Step}
	st.Leads, st.Spoken = []string{n.From}, wording.Spoken(n)
	if n.Quantity == run.Voltage {
		st.Leads = append(st.Leads, n.To)
	}
	st.Long = strings.TrimSpace(wording.WithLead(n))
	st.Typed = !s.Measures(n.Quantity)
	st.Own = !st.Typed && !st.Practise && s.CanType(n.Quantity)
	st.Units = map[run.Quantity][]string{run.Voltage: {"V", "mV"}, run.Current: {"A", "mA"}, run.Temperature: {"degC"}}[n.Quantity]
	from, to := strings.TrimRight(n.From, "+-"), strings.TrimRight(n.To, "+-")
	if n.Quantity == run.Voltage && from != to { // along one conductor: a few millivolts
		slices.Reverse(st.Units)
	}
	if t.Again != nil {
		st.Again = wording.Contradiction(n, *t.Again)
		st.Spoken = "Read again. " + st.Spoken
	}
}

// failing returns in words the elements over their limit.
func failing(k *walk.Knowledge) string {
	var names []string
	for _, e := range k.Elements {
		if e.Verdict == assessment.Fail && e.Rail == run.Loop {
			names = append(names, wording.Label(e))
		}
	}
	return wording.Few(names)
}

// results lists the elements, those that fail first and those that are not settled last.
func results(k *walk.Knowledge) []Element {
	var list []Element
	for _, v := range []assessment.Verdict{assessment.Fail, assessment.Pass, assessment.Unproven} {
		for _, e := range k.Elements {
			if e.Verdict != v || e.Rail != run.Loop {
				continue
			}
			x := Element{Name: string(e.Kind) + " " + e.Name, Verdict: string(v)}
			if e.Known {
				l := wording.LineOf(e)
				x.Value = l.Value + " " + l.Unit
			}
			list = append(list, x)
		}
	}
	return list
}
