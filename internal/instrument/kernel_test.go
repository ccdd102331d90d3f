package instrument_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// ina226 holds the files of the driver (Documentation/hwmon/ina2xx.rst): bus voltage in mV, current
// in mA, and the shunt of 2 mΩ, in µΩ, from which the driver computes the current. The values are
// invented.
var ina226 = map[string]string{"in0_input": "5", "in1_input": "4812", "curr1_input": "2310", "power1_input": "11115720", "shunt_resistor": "2000"}

func kernelDevice(t *testing.T, sys tree, address string, o instrument.Options) (instrument.Instrument, error) {
	t.Helper()
	p := load(t, "hwmon-ina2xx")
	p.Files.Every = time.Millisecond
	o.Sysfs = sys.root
	return instrument.Open(t.Context(), p, address, o)
}

func TestKernelDevice(t *testing.T) {
	sys := sysfs(t)
	path := sys.device("hwmon3", "ina226", "1-0040", ina226)
	sys.device("hwmon1", "cpu_thermal", "cpu", nil)
	for _, address := range []string{"ina226", "ina226@1-0040", path} {
		device, err := kernelDevice(t, sys, address, instrument.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if want := "ina226 at " + path; device.Identity() != want {
			t.Errorf("%s: identity %q, want %q", address, device.Identity(), want)
		}
		for range 2 {
			if s := next(t, device); s.Channel != "1" || s.Quantity != run.Voltage || s.Value != 4.812 || s.Text != "4812" || s.Unit != "mV" || !s.Good() {
				t.Errorf("got %+v", s)
			}
			if s := next(t, device); s.Quantity != run.Current || s.Value != 2.31 || s.Raw != "2310" || s.Shunt != 0.002 {
				t.Errorf("got %+v", s)
			}
		}
		if s, err := device.Measure(t.Context(), "1", run.Current); err != nil || s.Value != 2.31 {
			t.Errorf("measured %+v, %v", s, err)
		}
		if _, err := device.Measure(t.Context(), "2", run.Current); err == nil {
			t.Error("an unknown channel was measured")
		}
		if c := device.Counters(); c.Lines != 5 || c.Bad != 0 {
			t.Errorf("counted %+v", c)
		}
		if err := errors.Join(device.Close(), device.Close()); err != nil {
			t.Error(err)
		}
		if _, err := device.Next(t.Context()); !errors.Is(err, os.ErrClosed) {
			t.Errorf("after closing: %v", err)
		}
	}
}

// The driver computes with 2 mΩ; 1.6 mΩ were measured. 2310 mA · 2 / 1.6 = 2887.5 mA.
func TestKernelShunt(t *testing.T) {
	sys := sysfs(t)
	sys.device("hwmon0", "ina226", "1-0040", ina226)
	device, err := kernelDevice(t, sys, "ina226", instrument.Options{Shunts: map[string]float64{"1": 0.0016}})
	if err != nil {
		t.Fatal(err)
	}
	if s := next(t, device); s.Text != "4812" {
		t.Errorf("the volts: %+v", s)
	}
	if s := next(t, device); s.Value != 2.8875 || s.Text != "2.8875" || s.Unit != "A" || s.Raw != "2310" || s.Shunt != 0.0016 {
		t.Errorf("got %+v", s)
	}
}

// A device that returns under another number is found by its place.
func TestKernelDeviceGoesAndComes(t *testing.T) {
	sys := sysfs(t)
	path := sys.device("hwmon0", "ina226", "1-0040", ina226)
	device, err := kernelDevice(t, sys, "ina226@1-0040", instrument.Options{})
	if err != nil {
		t.Fatal(err)
	}
	next(t, device)
	sys.remove(path, "hwmon0")
	if _, err := device.Next(t.Context()); !errors.Is(err, port.ErrGone) {
		t.Fatalf("got %v", err)
	}
	if _, err := kernelDevice(t, sys, "ina226@1-0040", instrument.Options{}); err == nil || !strings.Contains(err.Error(), `no device "ina226@1-0040"`) {
		t.Errorf("while it is away: %v", err)
	}
	sys.device("hwmon0", "ina226", "1-0041", map[string]string{"in1_input": "1"})
	sys.device("hwmon7", "ina226", "1-0040", ina226)
	if device, err = kernelDevice(t, sys, "ina226@1-0040", instrument.Options{}); err != nil {
		t.Fatal(err)
	}
	if s := next(t, device); s.Text != "4812" {
		t.Errorf("got %+v", s)
	}
}

func TestKernelFaults(t *testing.T) {
	sys := sysfs(t)
	path := sys.device("hwmon0", "ina226", "1-0040", map[string]string{"in1_input": "lots"})
	device, err := kernelDevice(t, sys, "ina226", instrument.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if s := next(t, device); s.Quality != reading.Faulty || !strings.Contains(s.Fault, `"lots" is not a whole number`) {
		t.Errorf("got %+v", s)
	}
	if s := next(t, device); s.Quality != reading.Faulty || !strings.Contains(s.Fault, "no such file") {
		t.Errorf("a file that is not there: %+v", s)
	}

	thermal := sysfs(t)
	thermal.device("hwmon0", "lm75", "1-0048", map[string]string{"temp1_input": "21500", "temp1_fault": "1"})
	p := load(t, "hwmon-temperature")
	device, err = instrument.Open(t.Context(), p, "lm75", instrument.Options{Sysfs: thermal.root})
	if err != nil {
		t.Fatal(err)
	}
	if s := next(t, device); s.Quality != reading.Faulty || s.Value != 0 || !strings.Contains(s.Fault, "sensor is at fault") {
		t.Errorf("got %+v", s)
	}

	other := sys.device("hwmon5", "ina226", "1-0045", ina226)
	sys.device("hwmon6", "lm75", "1-0048", nil)
	for address, want := range map[string]string{
		"ina226":                            "2 devices are named \"ina226\" (say which one: ina226@1-0040, ina226@1-0045)",
		"ina226@1-0099":                     `the kernel shows no device "ina226@1-0099" (there are: `,
		"inb226":                            `does not read a device named "inb226" (did you mean "ina226"?`,
		filepath.Join(path, "hwmon/hwmon0"): "may have after the next boot (give ina226@1-0040, or " + path,
		filepath.Join(sys.root, "class/hwmon/hwmon5"):   "give ina226@1-0045, or " + other,
		filepath.Join(sys.root, "devices/i2c-1/1-0048"): `is a "lm75"`,
		filepath.Join(sys.root, "devices/i2c-1"):        "has 0 folders hwmon/hwmon…",
		filepath.Join(sys.root, "devices/i2c-1/1-0099"): "no such file or directory: is the device connected",
		"/dev/null/nonsense":                            "is the device connected",
	} {
		if _, err := kernelDevice(t, sys, address, instrument.Options{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %q", address, err, want)
		}
	}
	if _, err := kernelDevice(t, tree{t, t.TempDir()}, "ina226", instrument.Options{}); err == nil || !strings.Contains(err.Error(), "no such file") {
		t.Errorf("no kernel: %v", err)
	}
}
