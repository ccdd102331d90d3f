package probe

import (
	"context"
	"sync"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// reopened is the device of a probe that may be unplugged and connected again.
type reopened struct {
	open func(context.Context) (instrument.Instrument, error)

	mu     sync.Mutex // held while it measures
	device instrument.Instrument
}

// Reopen returns the device of a probe that is carried. It is opened when it is measured with, and again after an
// error, so that it may be connected, switched off and connected again at any time.
func (op *Opener) Reopen(x run.Probe, p *profile.Profile) instrument.Instrument {
	return op.reopened(x, p)
}

// OpenNow is Reopen for a probe that has to be there: it is opened at once, and again after an error.
func (op *Opener) OpenNow(ctx context.Context, x run.Probe, p *profile.Profile) (instrument.Instrument, error) {
	r := op.reopened(x, p)
	var err error
	if r.device, err = r.open(ctx); err != nil {
		return nil, err
	}
	return r, nil
}

func (op *Opener) reopened(x run.Probe, p *profile.Profile) *reopened {
	return &reopened{open: func(ctx context.Context) (instrument.Instrument, error) {
		return op.Open(ctx, x, p, instrument.Options{})
	}}
}

// with calls use with the device, opened. An error that is not that of the context closes the device.
func (r *reopened) with(ctx context.Context, use func(instrument.Instrument) (reading.Sample, error)) (x reading.Sample, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.device == nil {
		if r.device, err = r.open(ctx); err != nil {
			r.device = nil
			return x, err
		}
	}
	if x, err = use(r.device); err != nil && ctx.Err() == nil {
		_ = r.device.Close() // the error before counts
		r.device = nil
	}
	return x, err
}

// Next is that of the device.
func (r *reopened) Next(ctx context.Context) (reading.Sample, error) {
	return r.with(ctx, func(d instrument.Instrument) (reading.Sample, error) { return d.Next(ctx) })
}

// Measure is that of the device.
func (r *reopened) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	return r.with(ctx, func(d instrument.Instrument) (reading.Sample, error) { return d.Measure(ctx, channel, q) })
}

// Identity returns that of the device while it is open, "" otherwise.
func (r *reopened) Identity() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.device == nil {
		return ""
	}
	return r.device.Identity()
}

// Counters returns those of the device since it was opened last.
func (r *reopened) Counters() instrument.Counters {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.device == nil {
		return instrument.Counters{}
	}
	return r.device.Counters()
}

// Close closes the device if it is open.
func (r *reopened) Close() (err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.device != nil {
		err = r.device.Close()
		r.device = nil
	}
	return err
}
