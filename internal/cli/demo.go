package cli

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/report"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/table"
	"ohmkeep/internal/simulate/demo"
	"ohmkeep/internal/store"
)

func newDemo() *cobra.Command {
	var folder string
	c := &cobra.Command{
		Use:   "demo",
		Short: "Do the whole job on a simulated run with a bad joint and a thin feed",
		Long: `Demo commissions an invented run: a simulated sensor board and a simulated
multimeter send on pseudo-terminals and are read in three load steps; the readings are
stored, fitted and judged; and the resistances that were found are printed beside those
of the simulation.`,
		Example: `  ohmkeep demo
  ohmkeep demo --into look`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error { return runDemo(c, folder) },
	}
	c.Flags().StringVar(&folder, "into", "ohmkeep-demo", "folder for the run file, the store and the report")
	return c
}

// files are the paths of the files that a demonstration writes.
type files struct{ run, store, csv, page string }

func runDemo(c *cobra.Command, folder string) error {
	begun := time.Now()
	f, err := prepare(c, folder)
	if err != nil {
		return err
	}
	d, err := demo.New()
	if err != nil {
		return err
	}
	progress := c.ErrOrStderr()
	fmt.Fprintf(progress, "%s (invented): %d reels, %d feeds, one supply. Reading it:\n", d.Run.Name, len(d.Run.Reels), len(d.Run.Feeds))
	readings, err := keepReadings(c, d, f, progress)
	if err != nil {
		return err
	}
	fmt.Fprintf(progress, "Fitting %d readings.\n\n", len(readings))
	a, err := judge.Make(d.Run, readings)
	if err != nil {
		return err
	}
	p, err := report.Make(report.Input{RunFile: demo.RunFile, Readings: readings, Made: time.Now(), Program: version()}, nil)
	if err != nil {
		return err
	}
	err = rewrite(f.page, p.Write)
	if err != nil {
		return err
	}
	out := c.OutOrStdout()
	if err := table.Assessment(out, a, styleOf(out)); err != nil {
		return err
	}
	printActual(out, d, a)
	fmt.Fprintf(out, "\nReport with pictures: %s\nDone in %.1f s.\n", f.page, time.Since(begun).Seconds())
	fmt.Fprintf(out, `
Try next:
  ohmkeep assess %s %s
  ohmkeep predict %s --step "white 12 %%" --picture volts.png
  ohmkeep new                            describe a run of your own
Without an installed ohmkeep, write "go run ./cmd/ohmkeep" in its place.
`, f.run, f.csv, f.run)
	return nil
}

// prepare makes the folder and clears what an earlier demonstration left. Where
// no folder was given and the usual one cannot be made, it uses a temporary one.
func prepare(c *cobra.Command, folder string) (files, error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		if c.Flags().Changed("into") {
			return files{}, fileError(err)
		}
		made, tempErr := os.MkdirTemp("", "ohmkeep-demo-")
		if tempErr != nil {
			return files{}, fileError(err)
		}
		fmt.Fprintf(c.ErrOrStderr(), "%v; writing into %s\n", fileError(err), made)
		folder = made
	}
	f := files{run: filepath.Join(folder, "run.toml"), store: filepath.Join(folder, "readings.db"),
		csv: filepath.Join(folder, "readings.csv"), page: filepath.Join(folder, "report.html")}
	if err := f.refuseForeignFiles(); err != nil {
		return files{}, err
	}
	for _, old := range []string{f.store, f.store + "-wal", f.store + "-shm"} {
		if err := os.Remove(old); err != nil && !os.IsNotExist(err) {
			return files{}, fileError(err)
		}
	}
	err := rewrite(f.run, func(w io.Writer) error { _, err := w.Write(demo.RunFile); return err })
	return f, err
}

// rewrite writes a file of the demonstration and replaces that of an earlier one.
func rewrite(path string, write func(io.Writer) error) error {
	return file.Output{Path: path, Kind: file.KindOf(path), Force: true}.Write(write)
}

// refuseForeignFiles returns an error if a folder holds files that no demonstration wrote:
// they may be readings of a real run.
func (f files) refuseForeignFiles() error {
	if content, err := os.ReadFile(f.run); err == nil && bytes.Equal(content, demo.RunFile) {
		return nil
	}
	for _, path := range []string{f.run, f.store, f.csv, f.page} {
		if _, err := os.Lstat(path); err == nil {
			return fault.Fault{File: path, Text: "is in the way: only an unchanged demonstration is written over",
				Hint: "name another folder with --into, or remove this one"}
		}
	}
	return nil
}

// keepReadings reads the simulated run into the store, each reading as it comes,
// takes them back out of it and writes them as CSV.
func keepReadings(c *cobra.Command, d *demo.Demo, f files, progress io.Writer) ([]reading.Reading, error) {
	s, err := store.Open(f.store)
	if err != nil {
		return nil, err
	}
	err = d.Read(c.Context(), progress, func(x reading.Reading) error {
		_, _, err := s.Append(c.Context(), d.Run.Name, "demo", []reading.Reading{x})
		return err
	})
	var list []reading.Reading
	if err == nil {
		list, err = storedReadings(c.Context(), s, d.Run)
	}
	if closing := s.Close(); err == nil {
		err = closing
	}
	if err != nil {
		return nil, err
	}
	return list, rewrite(f.csv, func(w io.Writer) error { return csv.Write(w, list) })
}

// printActual prints the found resistances beside the simulated ones.
func printActual(w io.Writer, d *demo.Demo, a *assessment.Assessment) {
	fmt.Fprintf(w, "\nAgainst the truth of the simulation (loops at 20 °C; reels per metre):\n")
	inside, all := 0, 0
	for _, e := range a.Elements {
		truth := math.NaN()
		switch {
		case e.Rail != run.Loop:
		case e.Kind == run.KindJoint:
			truth = d.Truth(true, indexOf(d, e))
		case e.Kind == run.KindFeed:
			truth = d.Truth(false, indexOf(d, e))
		case e.Kind == run.KindReel:
			truth = d.ReelTruth(d.Run.ReelIndex(e.Name))
		}
		if math.IsNaN(truth) {
			continue
		}
		word := "outside"
		all++
		if truth >= e.Low && truth <= e.High {
			word = "inside"
			inside++
		}
		fmt.Fprintf(w, "  %-5s %-12s true %6.1f mΩ, found %6.1f (%.1f to %.1f): %s\n", e.Kind, e.Name, 1000*truth, 1000*e.Ohms, 1000*e.Low, 1000*e.High, word)
	}
	fmt.Fprintf(w, "%d of %d intervals hold the truth; 95 %% are meant to.\n", inside, all)
}

func indexOf(d *demo.Demo, e assessment.Element) int {
	if e.Kind == run.KindFeed {
		return d.Run.FeedIndex(e.Name)
	}
	for i, j := range d.Run.Joints {
		if j.Name == e.Name {
			return i
		}
	}
	return -1
}
