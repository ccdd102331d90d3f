package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"ohmkeep/internal/instrument/port"
)

func newProbePorts() *cobra.Command {
	return &cobra.Command{
		Use:   "ports",
		Short: "List the serial ports of this machine",
		Long: `Ports lists the serial ports that a run file or --port may name, without opening any: the
name to write, and what the adapter says that it is. On Linux that is a name under
/dev/serial/by-id where the adapter has one, which stays the same wherever it is plugged
in; on Windows COM3 and the like; on macOS /dev/cu.usbserial-… and the like.`,
		Example: `  ohmkeep probe ports`,
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			ports, err := port.List()
			if err != nil {
				return err
			}
			if len(ports) == 0 {
				fmt.Fprintln(c.ErrOrStderr(), "no serial port was found: plug the meter's or board's cable in and ask again")
			}
			for _, p := range ports {
				if _, err := fmt.Fprintf(c.OutOrStdout(), "%-30s %s\n", p.Name, p.Device); err != nil {
					return err
				}
			}
			return nil
		},
	}
}
