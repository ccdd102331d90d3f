package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/file"
	"ohmkeep/internal/store"
)

func newStore() *cobra.Command {
	c := &cobra.Command{
		Use:   "store",
		Short: "Look after a store: check it, copy it, take wrong readings out",
		Long: `A store needs no care in daily use. Check reads all of it and lists what is damaged;
backup copies it while other programs write to it; compact makes the file smaller, and
keeps all readable content of a damaged store; correct computes stored currents again
with the right shunt; withdraw marks a wrong reading; redate moves readings with a wrong
date.`,
		Example: `  ohmkeep store check shelf.db
  ohmkeep store backup shelf.db shelf-copy.db
  ohmkeep store compact shelf.db
  ohmkeep store correct shelf.toml --store shelf.db
  ohmkeep store withdraw shelf.toml "digits swapped" --store shelf.db --at 2026-03-01T09:00:40Z --from left.start+
  ohmkeep store redate shelf.toml --store shelf.db`,
	}
	c.AddCommand(newStoreCheck(), newStoreBackup(), newStoreCompact(), newStoreCorrect(), newStoreWithdraw(), newStoreRedate())
	return c
}

func newStoreCheck() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "check STORE",
		Short:   "Read all of a store and list what is damaged",
		Long:    "Check exits with 0 where everything is whole and with 1 where something is damaged.",
		Example: `  ohmkeep store check shelf.db`,
		Args:    exactly("STORE"),
		RunE: func(c *cobra.Command, args []string) error {
			found, size, err := checkStore(c, args[0])
			if err != nil {
				return err
			}
			if asJSON {
				err = json.NewEncoder(c.OutOrStdout()).Encode(storeCheck{1, found.Readings, found.Lost, found.Orphans, size.File, append([]string{}, found.Faults...)})
			} else {
				fmt.Fprintf(c.OutOrStdout(), "%s: %s whole, %d bytes, %d of them free\n", args[0], count(found.Readings, "reading"),
					size.File, size.File-size.Used)
				for _, f := range found.Faults {
					fmt.Fprintf(c.OutOrStdout(), "%s: %s\n", args[0], f)
				}
			}
			if err == nil && len(found.Faults) > 0 {
				err = status(Fails)
			}
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print what was found as JSON")
	return c
}

// storeCheck is what a check has found, as JSON.
type storeCheck struct {
	Schema   int      `json:"schema"`
	Readings int64    `json:"readings"`
	Lost     int64    `json:"lost"`
	Orphans  int64    `json:"orphans"` // readings whose place of measurement is lost
	Bytes    int64    `json:"bytes"`
	Faults   []string `json:"faults"`
}

func newStoreBackup() *cobra.Command {
	var force bool
	c := &cobra.Command{
		Use:   "backup STORE COPY",
		Short: "Copy a store while others go on writing to it",
		Long: `Backup replaces an older copy of the same name when the new one is whole and on disk. It
replaces no other file, nor a store that is in use.`,
		Example: `  ohmkeep store backup shelf.db shelf-copy.db`,
		Args:    exactly("STORE", "COPY"),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := store.OpenReadOnly(args[0])
			if err != nil {
				return err
			}
			defer s.Close()
			copied := file.Output{Path: args[1], Kind: file.Store, Force: force, Inputs: args[:1]}
			if err := copied.Check(); err != nil {
				return err
			}
			copying := working(c, "copying "+args[0], "")
			err = s.Backup(c.Context(), args[1])
			copying.done()
			if err != nil {
				return err
			}
			info, err := os.Stat(args[1])
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s copied to %s, %d bytes\n", args[0], args[1], info.Size())
			return nil
		},
	}
	addForce(c, &force)
	return c
}

func newStoreCompact() *cobra.Command {
	return &cobra.Command{
		Use:   "compact STORE",
		Short: "Give free room back, and keep what is left of a damaged store",
		Long: `Compact rewrites a store without its free space; no other program may have it open. A
damaged store is kept under another name, and all that can be read of it is copied into
a new one.`,
		Example: `  ohmkeep store compact shelf.db`,
		Args:    exactly("STORE"),
		RunE: func(c *cobra.Command, args []string) error {
			found, _, err := checkStore(c, args[0])
			if err != nil {
				return err
			}
			if len(found.Faults) > 0 {
				return rescue(c, args[0])
			}
			s, err := store.Open(args[0])
			if err != nil {
				return err
			}
			defer s.Close()
			before, err := s.Size(c.Context())
			if err == nil {
				compacting := working(c, "compacting "+args[0], "")
				err = s.Compact(c.Context())
				compacting.done()
			}
			if err != nil {
				return err
			}
			after, err := s.Size(c.Context())
			if err == nil {
				fmt.Fprintf(c.OutOrStdout(), "%s: %d bytes, before %d\n", args[0], after.File, before.File)
			}
			return err
		},
	}
}

// rescue keeps a damaged store under another name, copies its undamaged readings into a
// new store, and prints the counts.
func rescue(c *cobra.Command, path string) error {
	r, err := during(c, "rescuing "+path, func() (store.Rescued, error) { return store.Rescue(c.Context(), path) })
	if err != nil {
		return err
	}
	fmt.Fprintf(c.OutOrStdout(), "%s was damaged and is kept as %s; what can be read of it is in %s: %s\n", path, r.Aside, path, countText(r.Count))
	if r.Readings == 0 {
		fmt.Fprintf(c.OutOrStdout(), "no reading could be rescued: use a copy (store backup), if there is one\n")
		return status(Fails)
	}
	return nil
}

// countText returns in words how many readings are undamaged and how many are not.
func countText(n store.Count) string {
	text := fmt.Sprintf("%s, %d lost", count(n.Readings, "reading"), n.Lost)
	if n.Orphans > 0 {
		text += fmt.Sprintf(", %d of which the place is lost", n.Orphans)
	}
	if n.Commits > 0 {
		text += fmt.Sprintf(", and those of %s lost", count(n.Commits, "commit"))
	}
	return text
}

// checkStore reads all of a store. If the store is too damaged to be opened, its readings are
// counted from its pages.
func checkStore(c *cobra.Command, path string) (found store.Found, size store.Size, err error) {
	limitHeap()
	s, err := store.OpenReadOnly(path)
	if store.Damaged(err) {
		found.Faults = []string{strings.TrimPrefix(err.Error(), path+": ")}
		if found.Count, err = store.CheckFile(c.Context(), path); err != nil {
			return found, size, err
		}
		found.Faults = append(found.Faults, countText(found.Count))
		info, err := os.Stat(path)
		if err == nil {
			size.File, size.Used = info.Size(), info.Size()
		}
		return found, size, err
	}
	if err != nil {
		return found, size, err
	}
	defer s.Close()
	if found, err = during(c, "checking "+path, func() (store.Found, error) { return s.Check(c.Context()) }); err != nil {
		return found, size, err
	}
	size, err = s.Size(c.Context())
	if len(found.Faults) > 0 && err != nil {
		err = nil // damaged, and reported
	}
	return found, size, err
}
