package command

import (
	"fmt"

	"github.com/spf13/cobra"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store"
)

func newImport() *cobra.Command {
	var to string
	var skipBad bool
	c := &cobra.Command{
		Use:   "import RUN READINGS.csv",
		Short: "Put readings from a CSV file into a store",
		Long: `Import checks every row against the run and stores all of them, or none where a row
is bad. Rows that the store holds already are counted and not stored again.`,
		Example: `  ohmkeep import shelf.toml readings.csv --store shelf.db
  ohmkeep import shelf.toml - --store shelf.db < readings.csv
  ohmkeep import shelf.toml readings.csv --store shelf.db --skip-bad`,
		Args:              exactly("RUN", "READINGS.csv"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := storeNamed(c, to); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			readings, err := loadReadings(c, args[1], r.Run, skipBad)
			if err != nil {
				return err
			}
			s, err := store.Open(to)
			if err != nil {
				return err
			}
			added, held, err := s.Append(c.Context(), r.Name, args[1], readings)
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
	c.Flags().BoolVar(&skipBad, "skip-bad", false, "leave bad rows out instead of refusing the file")
	return c
}

func newExport() *cobra.Command {
	var from string
	c := &cobra.Command{
		Use:               "export RUN",
		Short:             "Print the stored readings of a run as CSV",
		Example:           `  ohmkeep export shelf.toml --store shelf.db > readings.csv`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := storeNamed(c, from); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			s, err := store.OpenReadOnly(from)
			if err != nil {
				return err
			}
			defer s.Close()
			return reading.WriteSeq(c.OutOrStdout(), s.Readings(c.Context(), r.Name, store.Filter{}))
		},
	}
	c.Flags().StringVar(&from, "store", "", "the store, a file")
	return c
}
