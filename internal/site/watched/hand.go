package watched

import (
	"context"
	"math"
	"reflect"
	"slices"
	"time"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/drift"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// byHand is what the readings that were taken by hand, as at the commissioning, say of the run.
// It stands for elements that the probes do not follow, or not yet.
type byHand struct {
	found *assessment.Assessment // nil: nothing was read by hand
	at    time.Time              // of the newest of these readings
	of    *run.Run
	from  []reading.Reading
}

// maxAssessedReels is how many reels a run may have to be assessed here: a fit of 40 reels of 5 m
// takes 50 MB, within what the packaged unit grants, and 44 s of a desktop's processor.
const maxAssessedReels = 40

// followHand assesses the readings taken by hand after the start, and again when an analysis, the
// run file or a note has changed the pages and other readings are there.
func (p *Pages) followHand() {
	for {
		select {
		case <-p.changed:
		case <-p.source.Done():
			return
		}
		r := p.source.Run()
		if len(r.Reels) > maxAssessedReels {
			continue
		}
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		readings, err := p.records.ByHand(ctx, r)
		cancel()
		if before := p.handed(); err != nil || r == before.of && reflect.DeepEqual(readings, before.from) {
			continue
		}
		now := byHand{of: r, from: readings}
		for _, x := range readings {
			if x.Time.After(now.at) {
				now.at = x.Time
			}
		}
		if len(readings) > 0 {
			if now.found, err = judge.Make(r, readings); err != nil {
				now.found = nil // the readings do not fit the run file in force
			}
		}
		p.mu.Lock()
		p.hand = now
		p.change()
		p.mu.Unlock()
	}
}

// handed returns what the readings taken by hand say.
func (p *Pages) handed() byHand {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.hand
}

// handElements returns the elements of which the readings taken by hand are the newest knowledge,
// because the probes give no value. One that a later note concerns is unproven, without a value.
func (p *Pages) handElements(ctx context.Context, r *run.Run, h *history.History) ([]assessment.Element, byHand) {
	hand := p.handed()
	if hand.found == nil || hand.of != r {
		return nil, hand
	}
	repaired := p.repairedSince(ctx, r, hand.at)
	var out []assessment.Element
	for _, e := range hand.found.Elements {
		if e.Rail != run.Loop || e.Kind == run.KindSupply || followed(h, e.Kind, e.Name) {
			continue
		}
		if repaired(e) { // what was read is of another joint or feed
			e.Ohms, e.Low, e.High, e.BehavesLike, e.Watts = math.NaN(), 0, math.Inf(1), "", math.NaN()
			if e.Verdict != assessment.None {
				e.Verdict = assessment.Unproven
			}
		}
		out = append(out, e)
	}
	return out, hand
}

// followed reports whether a history has a value of an element.
func followed(h *history.History, kind run.Kind, name string) bool {
	return h != nil && slices.ContainsFunc(h.Series, func(s history.Series) bool { return s.Kind == kind && s.Name == name && known(s) })
}

// repairedSince returns a function that reports whether a note after a time concerns an element.
func (p *Pages) repairedSince(ctx context.Context, r *run.Run, at time.Time) func(assessment.Element) bool {
	notes, err := p.records.NewestMarks(ctx, r.Name, store.MarkNote, "", mostEvents)
	if err != nil {
		return func(assessment.Element) bool { return true } // it is not known
	}
	return func(e assessment.Element) bool {
		for _, n := range notes {
			if !n.Time.After(at) {
				return false // the newest come first
			}
			parts, err := drift.Concerns(n.Text, r)
			if err == nil && len(parts) == 0 || slices.Contains(parts, drift.Part{Kind: e.Kind, Name: e.Name}) {
				return true
			}
		}
		return false
	}
}
