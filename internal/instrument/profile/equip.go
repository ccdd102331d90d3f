package profile

import (
	"errors"
	"path/filepath"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// Equip loads the profiles of a run's probes, in the order of Run.Probes. A probe for
// which the run file states no accuracy gets its profile's, as one more meter of the run. The digits
// of a handheld meter show its range, also where the run file states its accuracy.
// The error is a fault.List.
func Equip(r *run.Run) ([]*Profile, error) {
	profiles, err := EquipWith(r, func(name string) (*Profile, error) { return Load(name, filepath.Dir(r.File)) })
	if err != nil {
		return nil, err
	}
	var faults fault.List
	for i, p := range profiles {
		faults = append(faults, p.checkUse(r.File, r.Probes[i])...)
	}
	return profiles, faults.Err()
}

// EquipWith is like Equip, with profiles that load returns by their names in the run file. It accepts channels that a
// device does not have, because the run of a sealed report may have been accepted with them.
func EquipWith(r *run.Run, load func(name string) (*Profile, error)) ([]*Profile, error) {
	var profiles []*Profile
	var faults fault.List
	for i := range r.Probes {
		p := &r.Probes[i]
		device, err := load(p.Profile)
		if its, ok := errors.AsType[fault.List](err); ok {
			faults = append(faults, its...)
			continue
		}
		if err != nil {
			faults.Add(fault.Fault{File: r.File, Key: "probe " + p.Name + ": profile", Text: err.Error()})
			continue
		}
		switch {
		case device.Kind == Modbus && p.Slave == 0:
			faults.Add(fault.Fault{File: r.File, Key: "probe " + p.Name + ": slave", Text: "is missing: profile " + p.Profile + " is of one of several slaves on a line",
				Hint: "slave = 1, or the address that the device is set to"})
		case device.Kind != Modbus && p.Slave != 0:
			faults.Add(fault.Fault{File: r.File, Key: "probe " + p.Name + ": slave", Text: "has no meaning with profile " + p.Profile,
				Hint: "it is the address on a Modbus line"})
		}
		switch isMQTT := device.Kind == MQTT; {
		case isMQTT && (p.Topic == "" || p.Port != run.AtBroker):
			faults.Add(fault.Fault{File: r.File, Key: "probe " + p.Name + ": topic", Text: "is missing, or port is not \"" + run.AtBroker + "\": profile " + p.Profile + " is of a device that publishes at a broker",
				Hint: "port = \"" + run.AtBroker + "\" and topic = the one below which it publishes"})
		case !isMQTT && (p.Topic != "" || p.Port == run.AtBroker):
			faults.Add(fault.Fault{File: r.File, Key: "probe " + p.Name + ": topic", Text: "has no meaning with profile " + p.Profile,
				Hint: "it is of a device that publishes at a broker, on port \"" + run.AtBroker + "\""})
		}
		profiles = append(profiles, device)
		if p.Meter < 0 {
			p.Meter = addMeter(r, device.Meter)
		}
		if device.Kind == Handheld {
			r.Meters[p.Meter].DigitsShowRange = true
		}
	}
	return profiles, faults.Err()
}

// addMeter adds a meter to a run, once, and returns its index.
func addMeter(r *run.Run, m run.Meter) int {
	if i := r.MeterIndex(m.Name); i >= 0 {
		return i
	}
	r.Meters = append(r.Meters, m)
	r.Brought++
	return len(r.Meters) - 1
}
