package command

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/runfile"
)

// equipped is a run with the profiles of its probes, in the order of Run.Probes.
type equipped struct {
	*run.Run
	profiles []*profile.Profile
}

// loadRun reads a run file and the profiles it names. A probe for which the run
// file states no accuracy brings its profile's as one more meter.
func loadRun(path string) (*equipped, error) {
	r, err := runfile.Load(path)
	if err != nil {
		return nil, err
	}
	e := &equipped{Run: r}
	var faults fault.List
	for i := range r.Probes {
		p := &r.Probes[i]
		device, err := profile.Load(p.Profile, filepath.Dir(path))
		if err != nil {
			faults.Add(fault.Fault{File: path, Key: "probe " + p.Name + ": profile", Text: err.Error()})
			continue
		}
		e.profiles = append(e.profiles, device)
		if p.Meter < 0 {
			p.Meter = bring(r, device.Meter)
		}
	}
	return e, faults.Err()
}

// bring adds a profile's meter to a run, once, and returns its index.
func bring(r *run.Run, m run.Meter) int {
	if i := r.MeterIndex(m.Name); i >= 0 {
		return i
	}
	r.Meters = append(r.Meters, m)
	return len(r.Meters) - 1
}

// loadReadings reads a CSV file; "-" is standard input. Repeats and, with skipBad,
// faults are told on standard error.
func loadReadings(c *cobra.Command, path string, r *run.Run, skipBad bool) ([]reading.Reading, error) {
	src := c.InOrStdin()
	if path != "-" {
		file, err := os.Open(path)
		if err != nil {
			return nil, reason(err)
		}
		defer file.Close()
		src = file
	}
	parse := reading.Parse
	if skipBad {
		parse = reading.ParseGood
	}
	set, err := parse(path, src, r)
	if err != nil {
		return nil, err
	}
	tellSkipped(c.ErrOrStderr(), path, set)
	return set.Readings, nil
}

func tellSkipped(w io.Writer, path string, set reading.Set) {
	if len(set.Bad) > 0 {
		fmt.Fprintln(w, set.Bad.Err())
		fmt.Fprintf(w, "%s: %d bad rows left out\n", path, set.BadRows)
	}
	if n := len(set.Repeats); n > 0 {
		fmt.Fprintf(w, "%s: %d rows repeat earlier ones and count once (%v)\n", path, n, set.Repeats[0])
	}
}

// stepNamed finds a step or suggests the nearest.
func stepNamed(r *run.Run, name string) (run.Step, error) {
	if i := r.StepIndex(name); i >= 0 {
		return r.Steps[i], nil
	}
	var names []string
	for _, s := range r.Steps {
		names = append(names, s.Name)
	}
	return run.Step{}, fault.Fault{File: r.File, Key: "--step", Text: fmt.Sprintf("no step is named %q", name), Hint: fault.Suggest(name, names)}
}

// reason shortens an error of the file system to one that names the file once.
func reason(err error) error {
	var at *os.PathError
	if errors.As(err, &at) {
		return fmt.Errorf("%s: %w", at.Path, at.Err)
	}
	return err
}

// bare takes the name of a temporary file off an error.
func bare(err error) error {
	var at *os.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &at):
		return at.Err
	case errors.As(err, &link):
		return link.Err
	}
	return err
}

// writeFile writes a file whole or not at all: a temporary neighbour is renamed.
func writeFile(path string, write func(io.Writer) error) error {
	file, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return reason(err)
	}
	defer os.Remove(file.Name()) // gone already after the rename
	err = write(file)
	if err == nil {
		err = file.Chmod(0o644)
	}
	if closing := file.Close(); err == nil {
		err = closing
	}
	if err == nil {
		err = os.Rename(file.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", path, bare(err))
	}
	return nil
}

// completeRuns offers run files as the first argument and readings as the second.
func completeRuns(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) == 0 {
		return []string{"toml"}, cobra.ShellCompDirectiveFilterFileExt
	}
	return []string{"csv"}, cobra.ShellCompDirectiveFilterFileExt
}

// completeSteps offers the steps of the run file named as first argument.
func completeSteps(_ *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	var names []string
	if len(args) > 0 {
		if r, err := runfile.Load(args[0]); err == nil {
			for _, s := range r.Steps {
				if strings.HasPrefix(s.Name, begun) {
					names = append(names, s.Name)
				}
			}
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}
