package hwmon_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/hwmon"
)

// put writes a file of a fake /sys, with the folders above it.
func put(t *testing.T, path, text string) {
	t.Helper()
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(text), 0o644)); err != nil {
		t.Fatal(err)
	}
}

func link(t *testing.T, to, path string) {
	t.Helper()
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.Symlink(to, path)); err != nil {
		t.Fatal(err)
	}
}

// A thermal zone has no device of its own. Its place is the folder above it, which has the same
// name after every boot. A class entry that leads nowhere is skipped.
func TestZoneWithoutDevice(t *testing.T) {
	root := t.TempDir()
	zone := filepath.Join(root, "devices", "virtual", "thermal", "thermal_zone0")
	put(t, filepath.Join(zone, "hwmon2", "name"), "cpu_thermal\n")
	put(t, filepath.Join(zone, "hwmon2", "temp1_input"), "48312\n")
	link(t, filepath.Join(zone, "hwmon2"), filepath.Join(root, "class", "hwmon", "hwmon2"))
	link(t, filepath.Join(root, "nowhere"), filepath.Join(root, "class", "hwmon", "hwmon9"))
	for _, address := range []string{"cpu_thermal", "cpu_thermal@thermal_zone0"} {
		d, err := hwmon.Find(root, address, []string{"lm75", "cpu_thermal"})
		if err != nil || d.Path != zone || d.Name != "cpu_thermal" {
			t.Fatalf("%s: %+v, %v", address, d, err)
		}
		if n, text, err := d.Whole("temp1_input"); n != 48312 || text != "48312" || err != nil {
			t.Errorf("%d, %q, %v", n, text, err)
		}
		if _, _, err := d.Whole("name"); err == nil || !strings.Contains(err.Error(), `name: "cpu_thermal" is not a whole number`) {
			t.Errorf("got %v", err)
		}
		if _, err := d.Read("temp2_input"); errors.Is(err, hwmon.ErrGone) || !errors.Is(err, os.ErrNotExist) {
			t.Errorf("a file that the device does not have: %v", err)
		}
	}
	d, err := hwmon.Find(root, "cpu_thermal", []string{"cpu_thermal"})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(zone); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Read("temp1_input"); !errors.Is(err, hwmon.ErrGone) {
		t.Errorf("got %v", err)
	}
	if _, err := hwmon.Find(root, "cpu_thermal", []string{"cpu_thermal"}); err == nil || !strings.Contains(err.Error(), "the kernel shows none: is its driver loaded?") {
		t.Errorf("got %v", err)
	}
}
