package probe

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/lines"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/simulate/plant"
)

const (
	seed          = 4                      // so that every simulation is the same
	stepDuration  = 20 * time.Second       // of each step; the steps of the run are repeated in order
	boardInterval = 200 * time.Millisecond // between two sets of lines of a simulated board
)

// simulated is the simulated run that the simulated instruments are connected to.
type simulated struct {
	mu     sync.Mutex
	run    *run.Run
	actual *plant.Plant
	rng    *rand.Rand
	begun  time.Time
	step   int
}

func newSimulated(r *run.Run) (*simulated, error) {
	if len(r.Steps) == 0 {
		return nil, fault.Fault{File: r.File, Text: "a simulation needs a step", Hint: "add a [[step]]"}
	}
	rng := rand.New(rand.NewPCG(seed, seed))
	return &simulated{run: r, actual: plant.New(r, plant.Plain, rng), rng: rng, begun: time.Now(), step: -1}, nil
}

// value returns the SI value that a meter shows at a channel's place of measurement; NaN if the
// channel has none.
func (s *simulated) value(by *plant.Meter, x run.Probe, q run.Quantity, at func(run.ProbeChannel) bool) float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	step := int(time.Since(s.begun)/stepDuration) % len(s.run.Steps)
	if step != s.step {
		if err := s.actual.Set(step); err != nil {
			return math.NaN()
		}
		s.step = step
	}
	for _, c := range x.Channels {
		if c.Quantity != q || c.From == "" || !at(c) {
			continue
		}
		value := s.actual.True(q, c.From, c.To)
		if shown, at := by.Shown(q, c.From+" "+c.To, value, s.rng); at >= 0 {
			return shown
		}
		return value // beyond its ranges: the instrument says overload
	}
	return math.NaN()
}

// simulate opens a probe on a simulated instrument inside the process.
func (op *Opener) simulate(ctx context.Context, x run.Probe, p *profile.Profile, o instrument.Options) (instrument.Instrument, error) {
	if op.Run == nil {
		return nil, fault.Fault{Text: "port simulated: a run is needed to simulate", Hint: "name a run file and its probe"}
	}
	op.mu.Lock()
	if op.simulated == nil {
		var err error
		if op.simulated, err = newSimulated(op.Run); err != nil {
			op.mu.Unlock()
			return nil, err
		}
	}
	shared := op.simulated
	op.mu.Unlock()

	cable := devices.InProcess()
	device, err := shared.startDevice(cable, x, p)
	if err != nil {
		return nil, err
	}
	playing, stop := context.WithCancel(context.WithoutCancel(ctx))
	done := make(chan struct{})
	go func() { defer close(done); _ = device.Run(playing) }() // it ends with Close
	o.Conn = cable.Host
	opened, err := instrument.Open(ctx, p, x.Port, o)
	end := func() { stop(); _ = cable.Device.Close(); <-done }
	if err != nil {
		end()
		return nil, err
	}
	return &simulatedDevice{Instrument: opened, end: end}, nil
}

// simulatedDevice is an instrument on a simulated device.
type simulatedDevice struct {
	instrument.Instrument
	end func()
}

func (p *simulatedDevice) Close() error {
	err := p.Instrument.Close()
	p.end()
	return err
}

// startDevice starts a simulated instrument for a profile.
func (s *simulated) startDevice(cable *devices.Pair, x run.Probe, its *profile.Profile) (interface{ Run(context.Context) error }, error) {
	s.mu.Lock()
	meter := plant.NewMeter(its.Meter, plant.Plain, s.rng)
	s.mu.Unlock()
	if its.Kind == profile.SCPI {
		return devices.NewMultimeter(cable, func(q run.Quantity) float64 {
			return s.value(meter, x, q, func(run.ProbeChannel) bool { return true })
		})
	}
	var ids []string
	seen := map[string]bool{}
	for _, c := range x.Channels {
		if !seen[c.ID] {
			ids = append(ids, c.ID)
		}
		seen[c.ID] = true
	}
	value := func(id string, q run.Quantity) float64 {
		return s.value(meter, x, q, func(c run.ProbeChannel) bool { return c.ID == id })
	}
	understands := func(line string) bool { _, err := lines.Parse(its.Line, line); return err == nil }
	switch {
	case understands("1,4.8120,V"):
		return devices.NewPlainBoard(cable, ids, value, boardInterval), nil
	case understands("ch=1 bus=9584 shunt=8000"):
		return devices.NewBoard(cable, ids, func(id string, q run.Quantity) float64 {
			if v := value(id, q); !math.IsNaN(v) {
				return v
			}
			return 0 // the sensor has both registers, also where the run file uses one
		}, boardInterval)
	}
	return nil, fault.Fault{Text: fmt.Sprintf("port simulated: no simulated device fits profile %s", its.Name),
		Hint: "plain-lines, ina226-lines and meters that obey SCPI can be simulated"}
}
