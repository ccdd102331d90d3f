package planttest

import (
	"ohmkeep/internal/simulate/plant"
	"strings"
	"testing"
)

// Each slip can be made, and is wrong by more than a meter can be.
func TestSlips(t *testing.T) {
	for _, s := range Slips() {
		made := 0
		for i, k := range Kinds() {
			c, err := Commission(k, plant.Plain, Sound, s, uint64(i))
			if err != nil {
				t.Fatal(err)
			}
			if c == nil {
				continue
			}
			made++
			for _, at := range c.Wrong {
				if !c.exceedsMeterError(at, c.Readings[at].Value) {
					t.Errorf("%v, %s: %v", s, k.Name, c.Readings[at])
				}
			}
		}
		if made < 5 {
			t.Errorf("%v: made in %d kinds of run only", s, made)
		}
	}
}

// Each disturbance does what it says.
func TestDisturbances(t *testing.T) {
	kind := Kinds()[1]
	at := func(set func(*plant.Disturbance)) *Case {
		var d plant.Disturbance
		set(&d)
		c, err := Commission(kind, d, Sound, NoSlip, 7)
		if err != nil || c == nil {
			t.Fatal(err)
		}
		return c
	}
	calm := at(func(*plant.Disturbance) {})
	warm := at(func(d *plant.Disturbance) { d.Warming = 4 })
	if calm.Plant.Celsius() != calm.Plant.Copper || warm.Plant.Celsius() != warm.Plant.Copper+12 {
		t.Errorf("in the fourth step %g °C after %g °C", warm.Plant.Celsius(), warm.Plant.Copper)
	}
	texts := func(c *Case) (decimals, trailing int) {
		for _, x := range c.Readings {
			if _, after, _ := strings.Cut(x.Text, "."); x.Unit == "V" && len(after) > decimals {
				decimals = len(after)
			}
			if strings.Contains(x.Text, ".") && strings.HasSuffix(x.Text, "0") {
				trailing++
			}
		}
		return
	}
	if n, zeros := texts(calm); n != 3 || zeros == 0 {
		t.Errorf("calm: %d decimals, %d trailing zeros", n, zeros)
	}
	if n, _ := texts(at(func(d *plant.Disturbance) { d.TwoDecimals = true })); n != 2 {
		t.Errorf("two decimals: %d", n)
	}
	if _, zeros := texts(at(func(d *plant.Disturbance) { d.Trimmed = true })); zeros != 0 {
		t.Errorf("trimmed: %d trailing zeros", zeros)
	}
	for name, set := range map[string]func(*plant.Disturbance){
		"wander": func(d *plant.Disturbance) { d.DigitNoise = 1.2 }, "ripple": func(d *plant.Disturbance) { d.Ripple = 0.0004 },
		"pixels": func(d *plant.Disturbance) { d.Pixels = 0.04 }, "thinning": func(d *plant.Disturbance) { d.Thinning = 0.05 },
		"warming": func(d *plant.Disturbance) { d.Warming = 4 }, "sag": func(d *plant.Disturbance) { d.Sag = 0.012 },
		"levels": func(d *plant.Disturbance) { d.Levels = 0.12 }, "foils": func(d *plant.Disturbance) { d.Foils = 0.25 },
		"kept":     func(d *plant.Disturbance) { d.RangeKept = true },
		"gradient": func(d *plant.Disturbance) { d.Gradient = 0.08 },
	} {
		c, differ := at(set), 0
		for i, x := range c.Readings {
			if i < len(calm.Readings) && x.Text != calm.Readings[i].Text {
				differ++
			}
		}
		if differ == 0 {
			t.Errorf("%s changes no reading", name)
		}
	}
	if two := at(func(d *plant.Disturbance) { d.TwoSteps = true }); len(two.Readings) > len(calm.Readings)*3/5 {
		t.Errorf("two steps: %d of %d readings", len(two.Readings), len(calm.Readings))
	}
}
