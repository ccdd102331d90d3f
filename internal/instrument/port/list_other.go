//go:build !linux

package port

import (
	"fmt"
	"slices"
	"strings"

	"go.bug.st/serial"
)

// List returns the serial ports of this machine. It opens none.
func List() (ports []Listed, err error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list the serial ports: %w", err)
	}
	for _, name := range names {
		if !strings.HasPrefix(name, "/dev/tty.") { // macOS's other name of /dev/cu.…, which waits for a carrier
			ports = append(ports, Listed{name, ""})
		}
	}
	slices.SortFunc(ports, byName)
	return ports, nil
}
