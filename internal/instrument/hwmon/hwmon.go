// Package hwmon finds a sensor that the Linux kernel reads, and reads its files below /sys.
//
// A device is found by the content of its file "name" and by where it is wired
// (its device path), never by hwmonN: those numbers follow the order in which the
// system found its devices. Units are those of the kernel's documentation,
// Documentation/hwmon/sysfs-interface.rst: millivolts, milliamperes, thousandths of a
// °C; and of Documentation/hwmon/ina2xx.rst: µΩ of a shunt.
package hwmon

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"ohmkeep/internal/fault"
)

// System is where the kernel shows its devices.
const System = "/sys"

// Device is one device whose files can be read.
type Device struct {
	Dir  string // its hwmonN folder, as of now
	Name string // the content of its file "name"
	Path string // of the device, the same after every boot
}

// ErrGone is wrapped by the error of reading a device that is no longer there.
var ErrGone = errors.New("the device is gone")

// numbered is a folder's name that another device may have after the next boot.
var numbered = regexp.MustCompile(`^hwmon\d+$`)

// Find finds the device that an address of the run file means, whose name must be one
// of those given. An address is a name such as ina226, where there is one of
// that name; a name and a place such as ina226@1-0040; or the path of the device,
// such as /sys/bus/i2c/devices/1-0040. root is System, or a tree like it.
func Find(root, address string, names []string) (Device, error) {
	if filepath.IsAbs(address) {
		return atPath(address, names)
	}
	name, place, placed := strings.Cut(address, "@")
	if !slices.Contains(names, name) {
		return Device{}, fault.Fault{Text: fmt.Sprintf("the profile does not read a device named %q", name),
			Hint: fault.Suggest(name, names)}
	}
	all, err := list(root)
	if err != nil {
		return Device{}, err
	}
	var found []Device
	var others []string
	for _, d := range all {
		if d.Name == name && (!placed || filepath.Base(d.Path) == place) {
			found = append(found, d)
		} else {
			others = append(others, d.address())
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		hint := "the kernel shows none: is its driver loaded?"
		if len(others) > 0 {
			hint = "there are: " + strings.Join(others, ", ")
		}
		return Device{}, fault.Fault{Text: fmt.Sprintf("the kernel shows no device %q", address), Hint: hint}
	}
	var which []string
	for _, d := range found {
		which = append(which, d.address())
	}
	return Device{}, fault.Fault{Text: fmt.Sprintf("%d devices are named %q", len(found), address),
		Hint: "say which one: " + strings.Join(which, ", ")}
}

func (d Device) address() string { return d.Name + "@" + filepath.Base(d.Path) }

// list returns every device below root.
func list(root string) ([]Device, error) {
	class := filepath.Join(root, "class", "hwmon")
	entries, err := os.ReadDir(class)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", class, fault.Cause(err))
	}
	var all []Device
	for _, e := range entries {
		if d, err := identify(filepath.Join(class, e.Name())); err == nil {
			all = append(all, d)
		}
	}
	return all, nil
}

// atPath finds the one device below a device's path.
func atPath(path string, names []string) (Device, error) {
	if numbered.MatchString(filepath.Base(filepath.Clean(path))) {
		hint := "give the device's own path"
		if d, err := identify(path); err == nil {
			hint = fmt.Sprintf("give %s, or %s", d.address(), d.Path)
		}
		return Device{}, fault.Fault{Text: path + " has a number that another device may have after the next boot", Hint: hint}
	}
	if _, err := os.Stat(path); err != nil {
		return Device{}, fmt.Errorf("%s: %w: is the device connected and its driver loaded?", path, fault.Cause(err))
	}
	dirs, _ := filepath.Glob(filepath.Join(path, "hwmon", "hwmon*")) // the pattern is well formed
	if len(dirs) != 1 {
		return Device{}, fault.Fault{Text: fmt.Sprintf("%s has %d folders hwmon/hwmon…", path, len(dirs)),
			Hint: "the path is that of a device, such as /sys/bus/i2c/devices/1-0040"}
	}
	d, err := identify(dirs[0])
	if err != nil {
		return Device{}, err
	}
	if !slices.Contains(names, d.Name) {
		return Device{}, fault.Fault{Text: fmt.Sprintf("%s is a %q", path, d.Name),
			Hint: "the profile reads " + strings.Join(names, ", ")}
	}
	return d, nil
}

// identify reads the identity of a device.
func identify(dir string) (Device, error) {
	d := Device{Dir: dir}
	name, err := d.Read("name")
	if err != nil {
		return Device{}, err
	}
	d.Name = name
	if d.Path, err = filepath.EvalSymlinks(filepath.Join(dir, "device")); err == nil {
		return d, nil
	}
	// Without a device behind it, a thermal zone say, the folder above is what stays.
	real, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return Device{}, fmt.Errorf("%s: %w", dir, fault.Cause(err))
	}
	d.Path = filepath.Dir(real)
	return d, nil
}

// Read returns the content of one of the device's files without its line end. The error is
// ErrGone if the device was removed, otherwise the kernel's reason.
func (d Device) Read(file string) (string, error) {
	path := filepath.Join(d.Dir, file)
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, syscall.ENODEV), errors.Is(err, os.ErrNotExist) && d.absent():
		return "", fmt.Errorf("%s: %w", d.Dir, ErrGone)
	case err != nil:
		return "", fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	return strings.TrimSpace(string(text)), nil
}

func (d Device) absent() bool {
	_, err := os.Stat(d.Dir)
	return err != nil
}

// Whole reads a file that holds a whole number.
func (d Device) Whole(file string) (int64, string, error) {
	text, err := d.Read(file)
	if err != nil {
		return 0, "", err
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0, text, fmt.Errorf("%s: %q is not a whole number", filepath.Join(d.Dir, file), text)
	}
	return n, text, nil
}
