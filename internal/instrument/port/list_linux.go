package port

import (
	"path/filepath"
	"slices"
)

// List returns the serial ports of this machine. It opens none, because opening may reset a board.
// USB adapters are listed under their persistent names, with the device that each name refers to
// now, or under the device's name where they have no other.
func List() ([]Listed, error) { return listIn("/dev") }

// listIn lists the ports of a directory of devices.
func listIn(dev string) (ports []Listed, err error) {
	named := map[string]bool{} // devices that have a persistent name
	links, err := filepath.Glob(filepath.Join(dev, "serial", "by-id", "*"))
	if err != nil {
		return nil, err
	}
	for _, link := range links {
		if device, err := filepath.EvalSymlinks(link); err == nil {
			named[device] = true
			ports = append(ports, Listed{link, "now " + device})
		}
	}
	for _, pattern := range []string{"ttyUSB*", "ttyACM*", "ttyAMA*", "rfcomm*"} {
		devices, err := filepath.Glob(filepath.Join(dev, pattern))
		if err != nil {
			return nil, err
		}
		for _, device := range devices {
			if real, err := filepath.EvalSymlinks(device); err == nil && !named[real] {
				ports = append(ports, Listed{device, ""})
			}
		}
	}
	slices.SortFunc(ports, byName)
	return ports, nil
}
