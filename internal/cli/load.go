package cli

import (
	"bytes"
	"fmt"
	"io"
	"iter"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
)

// runWithProfiles is a run with the profiles of its probes, in the order of Run.Probes.
type runWithProfiles struct {
	*run.Run
	profiles []*profile.Profile
}

// loadRun reads a run file and the profiles it names. A probe for which the run
// file states no accuracy brings its profile's as one more meter.
func loadRun(path string) (*runWithProfiles, error) {
	if err := checkKind(path, file.RunFile, "a run file"); err != nil {
		return nil, err
	}
	r, err := runfile.Load(path)
	if err != nil {
		return nil, fileError(err)
	}
	e := &runWithProfiles{Run: r}
	e.profiles, err = profile.Equip(r)
	return e, err
}

// loadReadings reads a CSV file; "-" is standard input. Repeats and, with skipBad,
// faults are printed on standard error.
func loadReadings(c *cobra.Command, path string, r *run.Run, skipBad bool) ([]reading.Reading, error) {
	src, name, err := openReadings(c, path)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	parse := csv.Parse
	if skipBad {
		parse = csv.ParseGood
	}
	set, err := parse(name, src, r)
	if err != nil {
		return nil, fileError(err)
	}
	printFileSummary(c.ErrOrStderr(), name, set)
	return set.Readings, nil
}

// openReadings opens a CSV file; "-" is standard input, which is held in memory because
// it cannot be read twice.
func openReadings(c *cobra.Command, path string) (src io.ReadSeekCloser, name string, err error) {
	if path == "-" {
		const stdin = "standard input"
		all, err := file.ReadAll(stdin, c.InOrStdin(), file.MaxStream)
		return inMemory{bytes.NewReader(all)}, stdin, err
	}
	if err := checkKind(path, file.Readings, "a file of readings"); err != nil {
		return nil, path, err
	}
	src, err = file.Open(path, file.MaxReadings)
	return src, path, err
}

// checkKind returns an error if a file is known as one of another kind than a command wants.
func checkKind(path string, wanted file.Kind, what string) error {
	hint := map[file.Kind]string{file.Store: "a store is named by --store", file.RunFile: "the run file comes first, then the readings",
		file.Readings: "the run file comes first, then the readings", file.Transcript: "ohmkeep probe replay reads it"}
	kind := file.KindOf(path)
	if kind == file.Unknown || kind == wanted {
		return nil
	}
	return fault.Fault{File: path, Text: fmt.Sprintf("is %s, where %s is wanted", kind, what), Hint: hint[kind]}
}

// inMemory is a text in memory that can be read like a file.
type inMemory struct{ *bytes.Reader }

func (inMemory) Close() error { return nil }

// checkReadings looks at every row of a CSV file and keeps none of them. Faults are an
// error, or with skipBad printed on standard error. Repeats are always printed.
func checkReadings(c *cobra.Command, name string, src io.Reader, r *run.Run, skipBad bool) error {
	rows, err := csv.Scan(name, src, r)
	if err != nil {
		return fileError(err)
	}
	var unmeasured []reading.Reading
	for x, err := range countReadings(c, "checking "+name, validRows(rows, skipBad)) {
		if err != nil {
			return fileError(err)
		}
		if !x.Quality.Measured() {
			unmeasured = append(unmeasured, x)
		}
	}
	printFileSummary(c.ErrOrStderr(), name, csv.Set{Repeats: rows.Repeats, Bad: rows.Bad, BadRows: rows.BadRows,
		Unmeasured: unmeasured, Notes: rows.Notes()})
	return nil
}

// validRows returns the valid rows of a file and, unless skipBad, ends with the faults of the others.
func validRows(rows *csv.Rows, skipBad bool) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		for x, err := range rows.Good() {
			if !yield(x, err) {
				return
			}
		}
		if err := rows.Bad.Err(); err != nil && !skipBad {
			yield(reading.Reading{}, err)
		}
	}
}

// printFileSummary prints how many rows of a file were read and how many were left out.
func printFileSummary(w io.Writer, path string, set csv.Set) {
	if len(set.Notes) > 0 {
		fmt.Fprintf(w, "%s: read with %s\n", path, strings.Join(set.Notes, "; "))
	}
	if n := len(set.Unmeasured); n > 0 {
		fmt.Fprintf(w, "%s: %s of overload, no value (first in line %d)\n", path, count(n, "line"), set.Unmeasured[0].Row)
	}
	if len(set.Bad) > 0 {
		fmt.Fprintln(w, set.Bad.Err())
		fmt.Fprintf(w, "%s: %s left out\n", path, count(set.BadRows, "bad line"))
	}
	if n := len(set.Repeats); n > 0 {
		fmt.Fprintf(w, "%s: %s left out (%v)\n", path, count(n, "repeated line"), set.Repeats[0])
	}
}

// count writes how many of a thing there are.
func count[N int | int64](n N, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// stepNamed finds a step or suggests the nearest.
func stepNamed(r *run.Run, name string) (run.Step, error) {
	if i := r.StepIndex(name); i >= 0 {
		return r.Steps[i], nil
	}
	return run.Step{}, fault.Fault{File: r.File, Key: "--step", Text: fmt.Sprintf("no step is named %q", name),
		Hint: fault.Suggest(name, stepNames(r))}
}

func stepNames(r *run.Run) []string {
	var names []string
	for _, s := range r.Steps {
		names = append(names, s.Name)
	}
	return names
}
