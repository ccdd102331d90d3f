package find

import (
	"context"
	"strings"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
)

// ask asks a port where nothing was received.
func ask(ctx context.Context, path string, o Options) Found {
	for _, p := range o.Profiles {
		if f, ok := askMeter(ctx, path, p, o); ok {
			return f
		}
	}
	for _, p := range o.Profiles {
		for slave := 1; slave <= o.Slaves; slave++ {
			if f, ok := askSlave(ctx, path, p, slave, o); ok {
				return f
			}
		}
	}
	return Found{Port: path, Err: ctx.Err()}
}

// askMeter asks for an identity, and for nothing else.
func askMeter(ctx context.Context, path string, p *profile.Profile, o Options) (Found, bool) {
	if p.Kind != profile.SCPI || ctx.Err() != nil {
		return Found{}, false
	}
	quick := *p
	quick.Query.Start, quick.Query.Finish, quick.Query.Error, quick.Query.Timeout = nil, nil, "", o.Answer
	device, err := instrument.Open(ctx, &quick, path, instrument.Options{})
	if err != nil {
		return Found{}, false
	}
	defer device.Close()
	f := Found{Port: path, Profile: p, Settings: p.Port, Identity: device.Identity()}
	for _, q := range p.Query.Quantities() {
		f.Samples = append(f.Samples, reading.Sample{Channel: "1", Reading: reading.Reading{Quantity: q}})
	}
	return f, strings.Count(f.Identity, ",") == 3 // maker, model, serial number, firmware (IEEE 488.2)
}

// askSlave asks for the registers of a slave.
func askSlave(ctx context.Context, path string, p *profile.Profile, address int, o Options) (Found, bool) {
	if p.Kind != profile.Modbus || ctx.Err() != nil {
		return Found{}, false
	}
	quick := *p
	quick.Registers.Timeout = min(quick.Registers.Timeout, o.Answer/4) // it is asked several times
	device, err := instrument.Open(ctx, &quick, path, instrument.Options{Slave: address})
	if err != nil {
		return Found{}, false
	}
	defer device.Close()
	f := Found{Port: path, Profile: p, Settings: p.Port, Slave: address, Identity: device.Identity()}
	for range p.Registers.Values {
		s, err := device.Next(ctx)
		if err != nil {
			return Found{}, false
		}
		f.Samples = newest(f.Samples, s)
	}
	return f, true
}
