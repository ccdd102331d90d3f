package instrument_test

import (
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/simulate/devices"
)

// hear opens a board that sends a few lines, and returns all its samples and its identity.
func hear(t *testing.T, profile, says string, o instrument.Options) ([]reading.Sample, string) {
	t.Helper()
	pair := devices.InProcess()
	o.Conn = pair.Host
	device, err := instrument.Open(t.Context(), load(t, profile), "", o)
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	go func() { _, _ = io.WriteString(pair.Device, says); _ = pair.Device.Close() }()
	var list []reading.Sample
	for {
		s, err := device.Next(bounded(t))
		if err != nil {
			return list, device.Identity()
		}
		list = append(list, s)
	}
}

// SBOS547 (June 2011), table 1: 8000 counts of 2.5 µV over 2 mΩ are 10 A; over 1.96 mΩ the same 20
// mV are 10.2040816… A. The shunt does not affect the voltage.
func TestCorrectedShunt(t *testing.T) {
	const line = "ch=1 shunt=1F40 bus=2570\n"
	list, _ := hear(t, "ina226-registers", line, instrument.Options{})
	amps, volts := list[0], list[1]
	if amps.Value != 10 || amps.Raw != "1F40" || amps.Counts.N != 8000 || amps.Shunt != 0.002 {
		t.Fatalf("got %+v", amps)
	}
	right, err := amps.WithShunt(0.00196)
	if err != nil || right.Text != "10.2040816327" || right.Value != 10.2040816327 || right.Raw != "1F40" || right.Shunt != 0.00196 {
		t.Errorf("got %+v, %v", right, err)
	}
	if back, err := right.WithShunt(0.002); err != nil || back.Text != "10" {
		t.Errorf("and back: %+v, %v", back, err)
	}
	if same, err := amps.WithShunt(0.002); err != nil || same != amps {
		t.Errorf("the same shunt: %+v, %v", same, err)
	}
	if _, err := volts.WithShunt(0.00196); !errors.Is(err, reading.ErrNoShunt) {
		t.Errorf("a voltage: %v", err)
	}
	for _, ohms := range []float64{0, -1} {
		if _, err := amps.WithShunt(ohms); err == nil {
			t.Errorf("%g Ω were taken", ohms)
		}
	}
	list, _ = hear(t, "ina226-registers", line+"ch=1 shunt=7FFF bus=2570\n", instrument.Options{Shunts: map[string]float64{"1": 0.00196}})
	if list[0] != right && list[0].Text != right.Text || list[1].Value != 11.98 {
		t.Errorf("at once: %+v", list)
	}
	if s := list[2]; s.Quality != reading.Saturated || s.Value != 0 || s.Text != "" || s.Raw != "7FFF" {
		t.Errorf("saturated stays so: %+v", s)
	}
	// The shunt from which a plain current was computed is unknown.
	list, _ = hear(t, "plain-lines", "1,2,A\n2,2,A\n", instrument.Options{Shunts: map[string]float64{"1": 0.00196}})
	if list[0].Good() || !strings.Contains(list[0].Fault, "no shunt is known") || list[1].Value != 2 {
		t.Errorf("got %+v", list)
	}
}

// The identity changes when a board or a sensor is exchanged.
func TestIdentity(t *testing.T) {
	const line = "1,1,V\n"
	for says, want := range map[string]string{
		"# hello\n# other\n" + line:                                  "# hello",
		"# hello\n# serial 0042, INA226\n# still here\n" + line:      "# serial 0042, INA226",
		"# serial 0042\n# serial 0043\n" + line + "# not a serial\n": "# serial 0043",
		line: "",
	} {
		if _, who := hear(t, "plain-lines", says, instrument.Options{}); who != want {
			t.Errorf("%q is %q, want %q", says, who, want)
		}
	}
	list, who := hear(t, "thermometer-lines", "# shelf\nT2 28-0316a27951ff 20\nT1 28-0316a2794bff 21\nT2 28-000000000001 20\n", instrument.Options{})
	if who != "# shelf 1=28-0316a2794bff 2=28-000000000001" || len(list) != 3 || list[0].Serial != "28-0316a27951ff" || list[2].Serial != "28-000000000001" {
		t.Errorf("%q: %+v", who, list)
	}
}

// The error for a path that is no serial port says so, and names a path that would be one.
func TestNoPort(t *testing.T) {
	dir := t.TempDir()
	file := dir + "/readings.csv"
	if err := os.WriteFile(file, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		file:        "is a file, not a serial port (serial ports are /dev/serial/by-id/…",
		dir:         "is a folder, not a serial port",
		"/dev/null": "not a serial port (serial ports are",
	} {
		_, err := instrument.Open(t.Context(), load(t, "plain-lines"), path, instrument.Options{})
		if err == nil || !strings.Contains(err.Error(), "port "+path+": "+want) {
			t.Errorf("%s: got %v", path, err)
		}
	}
}
