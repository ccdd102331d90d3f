package cli

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/report"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// source holds the flags that select a command's readings.
type source struct {
	stored
	since, until string
	skipBad      bool

	forReport bool // keep what a report holds beside the readings that are fitted
	single    []reading.Reading
	repairs   []report.Repair
	stretches [][]reading.Reading
}

// maxInReport is how many readings a report holds one by one; of more it holds their means.
const maxInReport = 20_000

// flags adds those by which readings are named, beside a file's name among the arguments.
func (f *source) flags(c *cobra.Command) {
	f.stored.flags(c, "take the readings from this store")
	c.Flags().StringVar(&f.since, "since", "", "of a store, not what was read before (RFC 3339)")
	c.Flags().StringVar(&f.until, "until", "", "of a store, only what was read before (RFC 3339)")
	c.Flags().BoolVar(&f.skipBad, "skip-bad", false, "leave bad lines out instead of refusing the file")
}

// storeHelp is what the help of each such command says of readings.
const storeHelp = `Readings come from a CSV file, from standard input as "-", or from a store with --store.
Many readings of one place in one step count as one, their mean. Of readings of the same
place and step only the newest half day counts; --since and --until choose an earlier one.`

// readings takes readings from the file or the store, whichever was named, and repeated
// ones together.
func (f *source) readings(c *cobra.Command, r *runWithProfiles, files []string) ([]reading.Reading, error) {
	switch {
	case len(files) == 1 && f.store+f.db != "":
		return nil, callFault(c, "readings come from a file or from --store, not from both")
	case len(files) == 1 && f.since+f.until != "":
		return nil, callFault(c, "--since and --until choose readings of a store, named by --store")
	case len(files) == 1:
		list, err := loadReadings(c, files[0], r.Run, f.skipBad)
		if err != nil {
			return nil, err
		}
		if len(list) <= maxInReport {
			f.single = list
		}
		few, older := repeats.Of(r.Run, list)
		printGathered(c.ErrOrStderr(), r.Run, few, older)
		return few, nil
	case f.store+f.db == "":
		return nil, callFault(c, "wants readings: a CSV file, or a store with --store")
	}
	if err := f.check(c); err != nil {
		return nil, err
	}
	return f.fromStore(c, r)
}

// fromStore reads the readings of a store or of a central database one by one.
func (f *source) fromStore(c *cobra.Command, r *runWithProfiles) ([]reading.Reading, error) {
	var wanted store.Filter
	var err error
	if wanted.Since, err = parseTimeFlag("--since", f.since); err != nil {
		return nil, err
	}
	if wanted.Until, err = parseTimeFlag("--until", f.until); err != nil {
		return nil, err
	}
	limitHeap()
	s, err := f.open(c, r)
	if err != nil {
		return nil, err
	}
	defer s.close()
	if f.repairs, err = notedRepairs(c.Context(), s, r.Run); err != nil {
		return nil, err
	}
	between := f.betweenRepairs(r.Run)
	all, n, misdated := repeats.New(r.Run, false), 0, 0
	now := time.Now()
	for x, err := range countReadings(c, "reading "+s.name, s.Readings(c.Context(), r.Name, wanted)) {
		if err != nil {
			return nil, err
		}
		x.Row = n + 2 // its line in an export of the same stretch
		if n++; x.Misdated(now) {
			misdated++
			continue
		}
		all.Add(x)
		between.add(x)
	}
	f.stretches = between.readings()
	if misdated > 0 {
		fmt.Fprintf(c.ErrOrStderr(), "%s with an uncertain date in the future left out; ohmkeep store redate moves them\n", count(misdated, "reading"))
	}
	if n == misdated {
		stretch := ""
		if f.since+f.until != "" {
			stretch = " between --since and --until"
		}
		return nil, fmt.Errorf("%s: holds no readings of run %q%s", s.name, r.Name, stretch)
	}
	list, older := all.Readings()
	printGathered(c.ErrOrStderr(), r.Run, list, older)
	f.printMixed(c.ErrOrStderr(), list)
	return list, nil
}

// printGathered prints how many readings were combined, and what is missing if none of
// them names its step.
func printGathered(w io.Writer, r *run.Run, list []reading.Reading, older int) {
	together, of := 0, 0
	for _, x := range list {
		if x.Mean != nil {
			together, of = together+1, of+x.Mean.Count
		}
	}
	if together > 0 {
		fmt.Fprintf(w, "%s of the same place and step taken together as %d\n", count(of, "reading"), together)
	}
	if older > 0 {
		fmt.Fprintf(w, "%s left out, for newer or steadier ones of the same place and step\n", count(older, "reading"))
	}
	if len(list) > 0 && len(r.Steps) > 1 && !slices.ContainsFunc(list, func(x reading.Reading) bool { return x.Step != "" }) {
		fmt.Fprintf(w, "no reading names its step, without which nothing is known of the load that it was read under: announce\n"+
			"each step to the watch (ohmkeep watch --help), or import readings whose step column is filled in; the steps of\n"+
			"%s are %s\n", r.File, strings.Join(stepNames(r), ", "))
	}
}

// storedReadings returns the readings of a run in a store.
func storedReadings(ctx context.Context, s *store.Store, r *run.Run) ([]reading.Reading, error) {
	var list []reading.Reading
	for x, err := range s.Readings(ctx, r.Name, store.Filter{}) {
		if err != nil {
			return nil, err
		}
		x.Row = len(list) + 2 // its line in an export
		list = append(list, x)
	}
	return list, nil
}
