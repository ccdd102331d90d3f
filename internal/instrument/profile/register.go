package profile

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/register"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

// parseChip finds the chip whose registers a line holds; nil where it names none.
func parseChip(t *toml.Table) *register.Chip {
	name, ok := t.Text("chip")
	if !ok {
		return nil
	}
	chip, known := register.Find(name)
	if !known {
		t.Fault("chip", fmt.Sprintf("no chip is known as %q", name), fault.Suggest(name, register.Names()))
		return nil
	}
	return &chip
}

// measures are the quantities of the registers that can be read; power has none.
var measures = map[register.Measure]run.Quantity{
	register.ShuntVolts: run.Current, register.BusVolts: run.Voltage, register.Amps: run.Current, register.Celsius: run.Temperature,
}

// parseRegister reads which register of the chip a group holds the word of.
func parseRegister(t *toml.Table, f *Field, chip *register.Chip) {
	name := requiredText(t, "register", "the register whose word the group holds")
	f.Base = 16
	if n, ok := t.Whole("base"); ok {
		if n != 10 && n != 16 {
			t.Fault("base", fmt.Sprintf("%d is neither 10 nor 16", n), "")
		}
		f.Base = n
	}
	if chip == nil {
		t.Fault("register", "is of no chip", "name the chip in [line], such as chip = \"ina226\"")
		return
	}
	r, known := chip.Register(name)
	quantity, measured := measures[r.Measure]
	if !known || !measured && r.Measure != register.Flags {
		var names []string
		for _, r := range chip.Registers {
			if _, ok := measures[r.Measure]; ok || r.Measure == register.Flags {
				names = append(names, r.Name)
			}
		}
		t.Fault("register", fmt.Sprintf("%s has no register %q that is read", chip.Name, name), fault.Suggest(name, names))
		return
	}
	f.Register = &r
	if r.Measure == register.Flags {
		return
	}
	f.Counts, f.Quantity, f.PerCount, f.Lowest, f.Highest = true, quantity, r.LSB, r.Lowest, r.Highest
	scaleRegister(t, f)
	f.Lowest, f.Highest = parseEnds(t, f.Lowest, f.Highest)
}

// scaleRegister reads what turns a register's own unit into amperes.
func scaleRegister(t *toml.Table, f *Field) {
	wants := map[register.Measure][]string{register.ShuntVolts: {"shunt_milliohms"}, register.Amps: {"current_lsb_microamps"}}[f.Register.Measure]
	if f.Register.Measure == register.Amps && t.Has("shunt_milliohms") {
		wants = append(wants, "shunt_milliohms") // by which the chip was set up
	}
	for _, key := range []string{"shunt_milliohms", "current_lsb_microamps"} {
		if !slices.Contains(wants, key) {
			if t.Has(key) {
				t.Fault(key, "has no meaning for register "+f.Register.Name, "")
			}
			continue
		}
		x := requiredNumber(t, key, true)
		switch {
		case x <= 0:
		case key == "current_lsb_microamps":
			f.PerCount *= x / 1e6
		default:
			f.Shunt = x / 1000
			if f.Register.Measure == register.ShuntVolts {
				f.PerCount /= f.Shunt
			}
		}
	}
}
