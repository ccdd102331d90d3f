package recorder

import (
	"context"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/machine"
)

// While one probe is still being opened, the recorder runs: it does not take the time since the start for
// a stall, in which the lines of others would have waited. It is ready as soon as the port is open, also if the
// device has not answered.
func TestRunsWhileAProbeIsOpened(t *testing.T) {
	t.Parallel()
	opening, open := make(chan struct{}), make(chan struct{})
	opener := func(ctx context.Context, _ run.Probe, _ *profile.Profile, o instrument.Options) (instrument.Instrument, error) {
		close(opening)
		select {
		case <-open:
			o.PortOpened()
		case <-ctx.Done():
		}
		<-ctx.Done()
		return nil, ctx.Err()
	}
	r := New(plan(t, hall+probeOn("board", "nowhere")), Options{Store: &shelf{}, Open: opener, Commit: time.Second,
		Clock: machine.NewClock(&setClocks{started: time.Now()}, time.Time{}, nil)})
	r.checkInterval = 5 * time.Millisecond
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { r.Run(ctx); close(ended) }()
	defer func() { cancel(); <-ended }()
	<-opening
	ran := func() time.Duration { r.mu.Lock(); defer r.mu.Unlock(); return r.lastRun }
	for begun := time.Now(); ran() == 0; time.Sleep(time.Millisecond) {
		if time.Since(begun) > time.Minute {
			t.Fatal("the recorder does not run while a probe is opened")
		}
	}
	select {
	case <-r.Tried():
		t.Fatal("ready before the port was opened")
	default:
	}
	close(open)
	select {
	case <-r.Tried():
	case <-time.After(time.Minute):
		t.Fatal("not ready although the port is open")
	}
	if why := strings.Join(r.Snapshot().Reasons(), "; "); why != "probe board: not opened yet" {
		t.Errorf("the state is %q", why)
	}
}
