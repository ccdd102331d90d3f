package port

import (
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
)

// An adapter is listed once, by its lasting name where it has one.
func TestListIn(t *testing.T) {
	dev, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	ids := filepath.Join(dev, "serial", "by-id")
	if err := os.MkdirAll(ids, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"ttyUSB0", "ttyUSB1", "ttyUSB10", "ttyUSB2", "ttyACM0", "ttyS0", "null"} {
		if err := os.WriteFile(filepath.Join(dev, name), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, to := range map[string]string{"usb-board-1": "../../ttyUSB1", "usb-unplugged": "../../ttyUSB7"} {
		if err := os.Symlink(to, filepath.Join(ids, name)); err != nil {
			t.Fatal(err)
		}
	}
	got, err := listIn(dev)
	at := func(name string) string { return filepath.Join(dev, name) }
	want := []Listed{{filepath.Join(ids, "usb-board-1"), "now " + at("ttyUSB1")},
		{at("ttyACM0"), ""}, {at("ttyUSB0"), ""}, {at("ttyUSB2"), ""}, {at("ttyUSB10"), ""}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v, %v\nwant %v", got, err, want)
	}
}

func TestPortsAreInTheOrderOfPeople(t *testing.T) {
	ports := []Listed{{"COM10", ""}, {"COM3", ""}, {"/dev/cu.b", ""}, {"COM1", ""}, {"/dev/cu.a", ""}}
	slices.SortFunc(ports, byName)
	want := []Listed{{"/dev/cu.a", ""}, {"/dev/cu.b", ""}, {"COM1", ""}, {"COM3", ""}, {"COM10", ""}}
	if !reflect.DeepEqual(ports, want) {
		t.Errorf("%v", ports)
	}
}
