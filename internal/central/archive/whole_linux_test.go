package archive

import (
	"context"
	"errors"
	"reflect"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// Readings are withdrawn and corrected, and sent again in many batches. A reader sees at any moment all
// of the old ones or all of the new ones, also while the server is killed half-way.
func TestChangeIsWhole(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 300)
	to := NewSink(url, postgres.Options{}, r)
	_, _, err := ship.Once(t.Context(), s, r.Name, to, nil)
	check(t, err)
	before := readings(t, s, r)
	_, _, err = s.Withdraw(t.Context(), r.Name, before[100:140], "misread", time.Now())
	check(t, err)
	_, err = s.CorrectAll(t.Context(), store.Selection{Run: r.Name, Quantity: new(run.Current)}, "0.0025")
	check(t, err)
	check(t, s.Mark(t.Context(), r.Name, store.Mark{Time: time.Now(), Kind: store.MarkNote, Text: "another shunt"}))
	after := readings(t, s, r)

	var sawBefore, sawAfter atomic.Int64
	see := func(got []reading.Reading) {
		switch {
		case reflect.DeepEqual(got, before):
			sawBefore.Add(1)
		case reflect.DeepEqual(got, after):
			sawAfter.Add(1)
		default:
			t.Errorf("a reader sees %d readings: there were %d, and are %d", len(got), len(before), len(after))
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	polled := make(chan struct{})
	go func() { // beside the sending
		defer close(polled)
		for ctx.Err() == nil {
			if got, err := poll(ctx, url, r); err == nil {
				see(got)
			}
		}
	}()
	batches := 0
	to.batch = 15
	send := func(until int) error {
		_, _, err := ship.Once(t.Context(), s, r.Name, to, func(int) {
			batches++
			got, err := poll(t.Context(), url, r)
			check(t, err)
			see(got)
			if batches == until {
				server.Kill()
			}
		})
		return err
	}
	if err := send(11); !errors.Is(err, postgres.ErrLost) {
		t.Errorf("while the server is killed: %v", err)
	}
	if sawAfter.Load() > 0 {
		t.Error("half of a change is seen as the whole")
	}
	check(t, to.Close())
	server.Launch()
	got, err := poll(t.Context(), url, r)
	check(t, err)
	see(got)
	check(t, send(-1))
	cancel()
	<-polled
	if batches < 30 || sawBefore.Load() < 20 || sawAfter.Load() < 1 {
		t.Errorf("%d batches, %d times the old readings, %d times the new ones", batches, sawBefore.Load(), sawAfter.Load())
	}
	t.Logf("%d batches, %d times the old readings, %d times the new ones", batches, sawBefore.Load(), sawAfter.Load())
	check(t, to.Close())
	same(t, s, url, r)
}

// What a new database receives of a run that was changed before is seen as it arrives.
func TestBeginningIsSeen(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 100)
	_, err := s.Undelivered(t.Context(), r.Name, "another", store.Arrived{}, 1) // from now on changes are noted
	check(t, err)
	_, err = s.CorrectAll(t.Context(), store.Selection{Run: r.Name, Quantity: new(run.Current)}, "0.0025")
	check(t, err)
	to := NewSink(url, postgres.Options{}, r)
	to.batch = 20
	want := readings(t, s, r)
	sent := 0
	_, _, err = ship.Once(t.Context(), s, r.Name, to, func(n int) {
		sent += n
		if got := arrived(t, url, r); len(got) != sent || !reflect.DeepEqual(got, want[:sent]) {
			t.Errorf("%d readings of %d are seen", len(got), sent)
		}
	})
	check(t, err)
	check(t, to.Close())
	same(t, s, url, r)
}

// poll reads all readings of a run over a connection of its own.
func poll(ctx context.Context, url string, r *run.Run) (all []reading.Reading, err error) {
	db, err := postgres.Connect(ctx, url, postgres.Options{})
	if err != nil {
		return nil, err
	}
	defer db.Close()
	from, err := NewReader(ctx, db, SiteOf(r))
	if err != nil {
		return nil, err
	}
	for x, err := range from.Readings(ctx, r.Name, store.Filter{}) {
		if err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return all, nil
}
