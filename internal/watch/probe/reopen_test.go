package probe

import (
	"context"
	"errors"
	"testing"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// cable is an instrument that can be unplugged; it counts how often it is opened and closed.
type cable struct {
	instrument.Instrument
	unplugged      bool
	opened, closed int
}

func (c *cable) Measure(ctx context.Context, _ string, _ run.Quantity) (reading.Sample, error) {
	if c.unplugged {
		return reading.Sample{}, errors.New("unplugged")
	}
	return reading.Sample{}, ctx.Err()
}

func (c *cable) Close() error { c.closed++; return nil }

// A carried meter is opened when it is first measured with and stays open; one that was unplugged is closed, and
// opened again once it is there. Who does not wait any longer closes nothing.
func TestReopen(t *testing.T) {
	c := &cable{}
	r := &reopened{open: func(context.Context) (instrument.Instrument, error) {
		if c.unplugged {
			return nil, errors.New("no such port")
		}
		c.opened++
		return c, nil
	}}
	measure := func(ctx context.Context, want string, opened, closed int) {
		t.Helper()
		_, err := r.Measure(ctx, "1", run.Voltage)
		if err != nil && err.Error() != want || err == nil && want != "" || c.opened != opened || c.closed != closed {
			t.Errorf("%v, opened %d times, closed %d times; want %q, %d, %d", err, c.opened, c.closed, want, opened, closed)
		}
	}
	measure(t.Context(), "", 1, 0)
	measure(t.Context(), "", 1, 0)
	ended, stop := context.WithCancel(t.Context())
	stop()
	measure(ended, context.Canceled.Error(), 1, 0)
	c.unplugged = true
	measure(t.Context(), "unplugged", 1, 1)
	measure(t.Context(), "no such port", 1, 1)
	c.unplugged = false
	measure(t.Context(), "", 2, 1)
	if err := r.Close(); err != nil || c.closed != 2 || r.Identity() != "" {
		t.Errorf("%v, closed %d times", err, c.closed)
	}
	if err := r.Close(); err != nil || c.closed != 2 {
		t.Errorf("%v, closed %d times", err, c.closed)
	}
}
