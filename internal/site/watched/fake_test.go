package watched

import (
	"context"
	"errors"
	"sync"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
)

// invented is a watch over an invented history, and its records.
type invented struct {
	mu       sync.Mutex
	status   service.Status
	history  *history.History
	later    *history.History // in place of history …
	looks    int              // … after so many calls of History
	run      *run.Run
	analyses int
	notes    []store.Mark
	asked    []store.Selection
	hand     []reading.Reading
	broken   bool
	done     chan struct{}
}

var midnight = time.Date(2031, 3, 4, 0, 0, 0, 0, time.UTC)

func invent() *invented {
	volts, age := 5.0204, 1.5
	return &invented{run: showtest.Run(), history: showtest.History(), done: make(chan struct{}), status: service.Status{Schema: 1, Well: true,
		Snapshot: recorder.Snapshot{Run: "Map room cornice", Time: midnight, Certain: true, Step: "white 5 %", Probes: []recorder.ProbeState{
			{Name: "board", Up: true, Channels: []recorder.ChannelState{
				{ID: "1", What: "voltage", Quantity: run.Voltage, From: "west.start+", To: "west.start-", Value: &volts, Age: &age, Quality: "good"},
				{ID: "2", What: "current", Quantity: run.Current, From: "near", Quality: "good"}}},
			{Name: "loft", Up: false, Why: "it is <gone>", Channels: []recorder.ChannelState{
				{ID: "1", What: "temperature", Quantity: run.Temperature, From: "west", Value: &volts, Age: &age, Quality: "good"}}}}}}}
}

func (w *invented) Status() service.Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.status
}

func (w *invented) History() *history.History {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.history
	if w.looks--; w.looks == 0 {
		w.history = w.later
	}
	return now
}

// set changes the watch.
func (w *invented) set(change func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change()
}

func (w *invented) Run() *run.Run                                { return w.run }
func (w *invented) Announce(string, time.Duration, string) error { return nil }
func (w *invented) AnalyseSoon()                                 { w.set(func() { w.analyses++ }) }
func (w *invented) Done() <-chan struct{}                        { return w.done }

var errBroken = errors.New("the disk is gone")

func (w *invented) fault() error {
	if w.broken {
		return errBroken
	}
	return nil
}

func (w *invented) NewestMarks(_ context.Context, _, kind, _ string, _ int) ([]store.Mark, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if kind == store.MarkNote {
		return w.notes, w.fault()
	}
	return append([]store.Mark{{Time: midnight, Kind: store.MarkLost, Subject: "board", Text: "unplugged <b>"}}, w.notes...), w.fault()
}

func (w *invented) ByHand(context.Context, *run.Run) ([]reading.Reading, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.hand, w.fault()
}

func (w *invented) Note(_ context.Context, run string, at time.Time, text string) error {
	w.set(func() { w.notes = append(w.notes, store.Mark{Time: at, Kind: store.MarkNote, Text: text}) })
	return w.fault()
}

// MinMeanMax returns 10 readings a period of 1, 2 … V, and none in each tenth period.
func (w *invented) MinMeanMax(_ context.Context, sel store.Selection, n int) ([]store.Bucket, error) {
	w.set(func() { w.asked = append(w.asked, sel) })
	long := sel.Until.Sub(sel.Since) / time.Duration(n)
	out := make([]store.Bucket, n)
	for i := range out {
		out[i] = store.Bucket{From: sel.Since.Add(time.Duration(i) * long), To: sel.Since.Add(time.Duration(i+1) * long)}
		if i%10 != 9 {
			out[i].N, out[i].Min, out[i].Mean, out[i].Max = 10, float64(i), float64(i)+0.5, float64(i)+1
		}
	}
	return out, w.fault()
}

func (w *invented) Span(context.Context, string) (first, last time.Time, err error) {
	return midnight.AddDate(-2, 0, 0), midnight, w.fault()
}
