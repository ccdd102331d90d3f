package recorder

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/watchtest"
)

// A commit that the end of the watch interrupts is not an error of the store: its readings are
// committed once more, and nothing is logged.
func TestCommitCutOffByTheEnd(t *testing.T) {
	var log watchtest.Log
	kept := &shelf{fault: context.Canceled}
	r := New(plan(t, hall+probeOn("board", "nowhere")), Options{Store: kept, Clock: machine.NewClock(&setClocks{started: time.Now()}, time.Time{}, nil), Log: slog.New(slog.NewTextHandler(&log, nil))})
	ctx, end := context.WithCancel(context.Background())
	end()
	held := Batch{Marks: []Mark{{}}}
	if r.tryCommit(ctx, &held) || r.commit.failed != 0 || r.commit.err != nil || log.String() != "" || held.empty() {
		t.Errorf("%d failed, %v, %s", r.commit.failed, r.commit.err, log.String())
	}
	if r.tryCommit(context.Background(), &held) || r.commit.failed != 1 || log.String() == "" {
		t.Errorf("a fault of the store: %d failed, %s", r.commit.failed, log.String())
	}
}
