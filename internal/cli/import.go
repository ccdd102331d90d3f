package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/store"
)

func newImport() *cobra.Command {
	var to string
	var skipBad bool
	c := &cobra.Command{
		Use:   "import RUN READINGS.csv",
		Short: "Put readings from a CSV file, or what export printed, into a store",
		Long: `Import checks every line against the run and stores all of them, or none where a line
is bad. Lines that the store holds already are counted and not stored again. A file that
begins with # is OpenMetrics text as ohmkeep export prints it.

A spreadsheet may write semicolons or tabs between the columns, decimal commas, UTF-16,
local dates, times without a zone, and leave out units or all times. Such a file is read
where its meaning is certain, and standard error says how. What can be read in two ways,
such as 03/04/2026, is refused. OL is kept as an overload without a value.`,
		Example: `  ohmkeep import shelf.toml readings.csv --store shelf.db
  ohmkeep import shelf.toml - --store shelf.db < readings.csv
  ohmkeep import shelf.toml readings.csv --store shelf.db --skip-bad`,
		Args:              exactly("RUN", "READINGS.csv"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, to); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			src, name, err := openReadings(c, args[1])
			if err != nil {
				return err
			}
			defer src.Close()
			// The whole file is checked before a store is opened or created.
			if err := checkReadings(c, name, src, r.Run, skipBad); err != nil {
				return err
			}
			if _, err := src.Seek(0, io.SeekStart); err != nil {
				return fileError(err)
			}
			rows, err := csv.Scan(name, src, r.Run)
			if err != nil {
				return fileError(err)
			}
			s, err := store.Open(to)
			if err != nil {
				return err
			}
			added, held, err := s.AppendSeq(c.Context(), r.Name, args[1], countReadings(c, "storing", validRows(rows, skipBad))) // it may have changed
			if closing := s.Close(); err == nil {
				err = closing
			}
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s stored in %s", count(added, "reading"), to)
			if held > 0 {
				fmt.Fprintf(c.OutOrStdout(), ", %d already there", held)
			}
			fmt.Fprintln(c.OutOrStdout())
			return nil
		},
	}
	c.Flags().StringVar(&to, "store", "", "the store, a file; made where it does not exist")
	c.Flags().BoolVar(&skipBad, "skip-bad", false, "leave bad lines out instead of refusing the file")
	return c
}
