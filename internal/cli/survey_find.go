package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/instrument/find"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
)

// carryFound searches the serial ports that a run file does not name for meters, and adds each as one that is carried
// from place to place. A board has its places, which the run file has to say.
func carryFound(c *cobra.Command, r *runWithProfiles, search []string) error {
	o, err := find.Usual()
	if err != nil {
		return err
	}
	list, err := searchPorts(c, r.Run, named(search), o)
	if err != nil {
		return err
	}
	for _, f := range list {
		if f.Profile == nil {
			fmt.Fprint(c.ErrOrStderr(), unknownText(f, o))
			continue
		}
		found := probeOf(f, r.Run)
		if f.Profile.Meter.Each {
			fmt.Fprintf(c.ErrOrStderr(), "%sIts places are not known: add it to the run file.\n", found)
			continue
		}
		fmt.Fprintf(c.ErrOrStderr(), "carried: %s on %s. %s\n", f.Profile.Name, f.Port, strings.Join(found.Notes, " "))
		r.Probes = append(r.Probes, run.Probe{Name: found.Name, Profile: f.Profile.Name, Port: f.Port, Meter: -1, Channels: carriedChannels(f)})
	}
	r.profiles, err = profile.Equip(r.Run)
	return err
}

// carriedChannels returns the channels of a carried meter. The display of a handheld meter shows what its knob is set to.
func carriedChannels(f find.Found) (list []run.ProbeChannel) {
	if f.Profile.Kind == profile.Handheld {
		return []run.ProbeChannel{{ID: profile.DisplayChannel, Quantity: run.Voltage}, {ID: profile.DisplayChannel, Quantity: run.Current}}
	}
	for _, s := range f.Samples {
		list = append(list, run.ProbeChannel{ID: s.Channel, Quantity: s.Quantity})
	}
	return list
}
