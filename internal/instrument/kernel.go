package instrument

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"time"

	"ohmkeep/internal/instrument/hwmon"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// kernel is a device that the kernel reads and provides as files.
type kernel struct {
	tally
	profile *profile.Profile
	device  hwmon.Device
	options Options
	at      int       // the file that is read next
	last    time.Time // when the first of them was read; for pauses only
	closed  atomic.Bool
}

func openKernel(p *profile.Profile, address string, o Options) (*kernel, error) {
	device, err := hwmon.Find(o.Sysfs, address, p.Files.Names)
	if err != nil {
		return nil, fmt.Errorf("port %s: %w", address, err)
	}
	return &kernel{profile: p, device: device, options: o}, nil
}

func (k *kernel) Identity() string { return k.device.Name + " at " + k.device.Path }

func (k *kernel) Next(ctx context.Context) (reading.Sample, error) {
	if k.at == 0 && !k.last.IsZero() {
		if err := k.options.Sleep(ctx, k.profile.Files.Every-time.Since(k.last)); err != nil {
			return reading.Sample{}, err
		}
	}
	if k.at == 0 {
		k.last = time.Now()
	}
	s, err := k.read(k.profile.Files.Values[k.at])
	k.at = (k.at + 1) % len(k.profile.Files.Values)
	return s, err
}

func (k *kernel) Measure(_ context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	for _, v := range k.profile.Files.Values {
		if of, _ := v.Quantity(); of == q && v.Channel == channel {
			return k.read(v)
		}
	}
	return reading.Sample{}, fmt.Errorf("profile %s has no %s of channel %q", k.profile.Name, q, channel)
}

func (k *kernel) Close() error {
	k.closed.Store(true)
	return nil
}

// read reads one file.
func (k *kernel) read(v profile.FileValue) (reading.Sample, error) {
	if k.closed.Load() {
		return reading.Sample{}, errClosed
	}
	n, text, err := k.device.Whole(v.File)
	q, unit := v.Quantity()
	s := reading.Sample{Reading: reading.Reading{Time: k.options.Clock(), Quantity: q, Unit: unit}, Channel: v.Channel, Raw: text}
	e := Event{Time: s.Time, Kind: Values, Text: v.File + " " + text}
	switch {
	case errors.Is(err, hwmon.ErrGone):
		return reading.Sample{}, fmt.Errorf("%w: %w", port.ErrGone, err)
	case err != nil:
		s.SetFault(reading.Faulty, "the kernel says: "+err.Error())
	default:
		s = k.parseValue(v, s, n)
	}
	e.Samples = []reading.Sample{s}
	k.add(e.Kind)
	k.options.Log(e)
	return s, nil
}

// parseValue converts the text of a file to a sample.
func (k *kernel) parseValue(v profile.FileValue, s reading.Sample, n int64) reading.Sample {
	if n < v.Lowest || n > v.Highest {
		s.SetFault(reading.Saturated, "saturated: "+s.Raw)
		return s
	}
	if fault, _, err := k.device.Whole(strings.TrimSuffix(v.File, "_input") + "_fault"); err == nil && fault != 0 {
		s.SetFault(reading.Faulty, "the kernel says that its sensor is at fault")
		return s
	}
	s.Text = s.Raw
	if s.Quantity == run.Temperature {
		s.Text = reading.Digits(float64(n) / 1000)
	}
	var err error
	if s.Value, err = reading.Value(s.Quantity, s.Text, s.Unit); err != nil {
		s.SetFault(reading.Faulty, err.Error())
		return s
	}
	if s.Quantity == run.Current {
		s.Counts = reading.Counts{N: n, PerCount: 1e-3}
		if v.ShuntFile != "" {
			if micro, _, err := k.device.Whole(v.ShuntFile); err == nil {
				s.Shunt = float64(micro) / 1e6
			}
		}
	}
	return correct(s, k.options.Shunts)
}
