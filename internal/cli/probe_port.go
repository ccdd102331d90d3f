package cli

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/probe"
)

// portFlags name a probe without a run file, and how long it is read.
type portFlags struct {
	profile, port string
	slave         int
	seconds       float64
}

func (f *portFlags) add(c *cobra.Command, seconds float64, about string) {
	c.Flags().StringVar(&f.profile, "profile", "", "a device profile, by name or as a .toml file")
	c.Flags().StringVar(&f.port, "port", "", "the serial port, best under /dev/serial/by-id; or as a run file has it")
	c.Flags().IntVar(&f.slave, "slave", 1, "address of a Modbus slave, 1 to 247, where no run file states it")
	c.Flags().Float64Var(&f.seconds, "seconds", seconds, about)
	completeProfiles(c)
}

func completeProfiles(c *cobra.Command) {
	_ = c.RegisterFlagCompletionFunc("profile", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return profile.Names(), cobra.ShellCompDirectiveDefault
	})
}

// openableProbe is one probe that can be opened, and how long it is read.
type openableProbe struct {
	run.Probe
	profile *profile.Profile
	opener  *probe.Opener
	lasting time.Duration
}

// inputs are the files beside the run file that reading the probe needs.
func (f *openableProbe) inputs() []string {
	paths := []string{f.Profile} // a shipped one is no file
	if name, ok := strings.CutPrefix(f.Port, probe.Transcript); ok {
		paths = append(paths, name)
	}
	for i, path := range paths {
		if !filepath.IsAbs(path) {
			paths[i] = filepath.Join(f.opener.Dir, path)
		}
	}
	return paths
}

func (f *openableProbe) open(ctx context.Context, o instrument.Options) (instrument.Instrument, error) {
	return f.opener.Open(ctx, f.Probe, f.profile, o)
}

// find finds the probe that the arguments RUN and PROBE or the flags name.
func (f *portFlags) find(c *cobra.Command, args []string) (*openableProbe, error) {
	it := &openableProbe{Probe: run.Probe{Name: "probe", Profile: f.profile, Port: f.port, Slave: f.slave}, opener: &probe.Opener{Dir: "."}}
	switch {
	case len(args) == 2:
		r, x, err := probeOfRun(args[0], args[1])
		if err != nil {
			return nil, err
		}
		it.Probe, it.opener.Run, it.opener.Dir = x, r, filepath.Dir(args[0])
	case len(args) == 1 || f.profile == "" || f.port == "":
		return nil, callFault(c, "wants RUN and PROBE, or --profile and --port")
	}
	if !(f.seconds > 0 && f.seconds <= 1e8) {
		return nil, callFault(c, "--seconds %g is not a time above 0", f.seconds)
	}
	it.lasting = time.Duration(f.seconds * float64(time.Second))
	var err error
	if it.profile, err = profile.Load(it.Profile, it.opener.Dir); err != nil {
		return nil, fileError(err)
	}
	if len(it.Channels) == 0 { // a meter is asked for all that the profile knows
		for _, q := range it.profile.Query.Quantities() {
			it.Channels = append(it.Channels, run.ProbeChannel{ID: "1", Quantity: q})
		}
	}
	return it, nil
}

func probeOfRun(file, name string) (*run.Run, run.Probe, error) {
	r, err := loadRun(file)
	if err != nil {
		return nil, run.Probe{}, err
	}
	var names []string
	for _, p := range r.Probes {
		if p.Name == name {
			return r.Run, p, nil
		}
		names = append(names, p.Name)
	}
	return nil, run.Probe{}, fault.Fault{File: file, Text: fmt.Sprintf("no probe is named %q", name), Hint: fault.Suggest(name, names)}
}
