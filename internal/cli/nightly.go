package cli

import (
	"context"
	"iter"
	"log/slog"
	"math"
	"time"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/metrics"
	"ohmkeep/internal/watch/recorder"
)

// driftState is the name under which a store keeps what drift needs from night to night.
const driftState = "drift"

// nightly follows drift from the state that the store keeps, so that a night costs the
// same after ten years as after one, and a restart calls nothing twice.
type nightly struct {
	store *store.Store
	log   *slog.Logger
	now   func() time.Time
}

// analyse folds what was stored since the last time, says what is new, and gives what
// is known of every resistance.
func (n nightly) analyse(ctx context.Context, plan recorder.Plan) (metrics.Analysis, error) {
	r := plan.Run
	s, err := n.state(ctx, r)
	if err != nil {
		return metrics.Analysis{}, err
	}
	if s.Notes, err = notesOf(ctx, n.store, r.Name); err != nil && !store.Damaged(err) {
		return metrics.Analysis{}, err
	}
	f := drift.Follow(r, s)
	// The newest day is taken again: it may have gone on since.
	since := time.Unix(s.Day*86400, 0)
	calls, err := f.Take(pastDamage(n.store.Readings(ctx, r.Name, store.Filter{Since: since})))
	if err != nil {
		return metrics.Analysis{}, err
	}
	for _, c := range calls {
		n.log.Warn("a resistance has changed", "kind", c.Kind, "name", c.Name, "what", c.What)
	}
	b, err := s.Encode()
	if err == nil {
		err = n.store.SetState(ctx, r.Name, driftState, drift.Version, b)
	}
	h := s.History(r)
	return metrics.Analysis{Resistances: resistances(h), Check: h.Check}, err
}

// pastDamage leaves out the error that comes after all readings that are left of a
// damaged store: nights go on, and the damage is told by a check.
func pastDamage(readings iter.Seq2[reading.Reading, error]) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		for x, err := range readings {
			if !store.Damaged(err) && !yield(x, err) {
				return
			}
		}
	}
}

// nightly checks the store and then analyses what is in it.
func (k *keeping) nightly(ctx context.Context, plan recorder.Plan) (found metrics.Analysis, err error) {
	defer k.rest()
	k.check(ctx)
	err = k.use(func(s *store.Store) (err error) {
		found, err = nightly{s, k.log, k.now}.analyse(ctx, plan)
		return err
	})
	return found, err
}

// state gives what the store keeps. What another version kept, and what a clock that ran
// ahead has spoilt, is made anew from the readings.
func (n nightly) state(ctx context.Context, r *run.Run) (*drift.State, error) {
	v, b, ok, err := n.store.State(ctx, r.Name, driftState)
	if err != nil {
		return nil, err
	}
	if ok && v == drift.Version {
		if s, err := drift.Decode(b); err == nil && !time.Unix(s.Last, 0).After(n.now().AddDate(0, 0, 2)) {
			return s, nil
		}
	}
	return drift.Decode(nil)
}

// resistances gives what metrics show of a history.
func resistances(h *history.History) []metrics.Resistance {
	var verdicts []string
	for _, v := range history.Verdicts {
		verdicts = append(verdicts, string(v))
	}
	var all []metrics.Resistance
	for _, s := range h.Series {
		x := metrics.Resistance{Kind: string(s.Kind), Name: s.Name, Rail: string(s.Rail), Ohms: s.Ohms, Low: s.Low, High: s.High, Limit: s.Limit,
			Verdict: string(s.Verdict), Verdicts: verdicts}
		if math.IsNaN(s.Ohms) {
			x.Low, x.High = math.NaN(), math.NaN()
		}
		all = append(all, x)
	}
	return all
}
