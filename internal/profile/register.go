package profile

import (
	"fmt"
	"slices"

	"ohmkeep/internal/document"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/ina"
	"ohmkeep/internal/run"
)

// parseChip finds the chip whose registers a line holds; nil where it names none.
func parseChip(t *document.Table) *ina.Chip {
	name, ok := t.Text("chip")
	if !ok {
		return nil
	}
	chip, known := ina.Find(name)
	if !known {
		t.Fault("chip", fmt.Sprintf("no chip is known as %q", name), fault.Suggest(name, ina.Names()))
		return nil
	}
	return &chip
}

// measures are the quantities of the registers that can be read; power has none.
var measures = map[ina.Measure]run.Quantity{
	ina.ShuntVolts: run.Current, ina.BusVolts: run.Voltage, ina.Amps: run.Current, ina.Celsius: run.Temperature,
}

// parseRegister reads which register of the chip a group holds the word of.
func parseRegister(t *document.Table, f *Field, chip *ina.Chip) {
	name := need(t, "register", "the register whose word the group holds")
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
	if !known || !measured && r.Measure != ina.Flags {
		var names []string
		for _, r := range chip.Registers {
			if _, ok := measures[r.Measure]; ok || r.Measure == ina.Flags {
				names = append(names, r.Name)
			}
		}
		t.Fault("register", fmt.Sprintf("%s has no register %q that is read", chip.Name, name), fault.Suggest(name, names))
		return
	}
	f.Register = &r
	if r.Measure == ina.Flags {
		return
	}
	f.Counts, f.Quantity, f.PerCount, f.Lowest, f.Highest = true, quantity, r.LSB, r.Lowest, r.Highest
	scaleRegister(t, f)
	parseEnds(t, f)
}

// scaleRegister reads what turns a register's own unit into amperes.
func scaleRegister(t *document.Table, f *Field) {
	wants := map[ina.Measure][]string{ina.ShuntVolts: {"shunt_milliohms"}, ina.Amps: {"current_lsb_microamps"}}[f.Register.Measure]
	if f.Register.Measure == ina.Amps && t.Has("shunt_milliohms") {
		wants = append(wants, "shunt_milliohms") // by which the chip was set up
	}
	for _, key := range []string{"shunt_milliohms", "current_lsb_microamps"} {
		if !slices.Contains(wants, key) {
			if t.Has(key) {
				t.Fault(key, "has no meaning for register "+f.Register.Name, "")
			}
			continue
		}
		x := atLeast(t, key, true)
		switch {
		case x <= 0:
		case key == "current_lsb_microamps":
			f.PerCount *= x / 1e6
		default:
			f.Shunt = x / 1000
			if f.Register.Measure == ina.ShuntVolts {
				f.PerCount /= f.Shunt
			}
		}
	}
}
