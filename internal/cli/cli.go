// Package cli is the program's command line: what each command reads, which
// package does the work, what it prints and how it exits. It decides nothing about
// resistances.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
)

// Exit statuses.
const (
	Passes   = 0 // everything asked passes
	Fails    = 1 // something fails its limit
	Wrong    = 2 // the input or the call is wrong
	Unproven = 3 // nothing fails but something is unproven
)

// status is an error that only sets the exit status; its message is already printed.
type status int

func (s status) Error() string { return fmt.Sprintf("exit status %d", int(s)) }

// Run runs one command line, the program's name left out, and returns its exit
// status. Results go to stdout, progress, notices and faults to stderr.
func Run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot(stoppable(ctx, stdin), stdout, stderr)
	root.SetArgs(args)
	err := checkCommand(root, args)
	if err == nil {
		asked, _, _ := root.Find(args) // ExecuteContext reports an unknown command
		err = untilStopped(ctx, asked, func() error { return root.ExecuteContext(ctx) })
	}
	var s status
	switch {
	case err == nil:
		return Passes
	case errors.As(err, &s):
		return int(s)
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(stderr, "stopped")
		return Wrong
	}
	fmt.Fprintln(stderr, err)
	return Wrong
}

func newRoot(stdin io.Reader, stdout, stderr io.Writer) *cobra.Command {
	root := &cobra.Command{
		Use:   "ohmkeep",
		Short: "Find bad joints and thin feeds of a low-voltage LED run from voltage and current readings",
		Long: `ohmkeep fits voltage and current readings of a low-voltage LED run to a model of
the run, and finds which solder joint or feed has too much resistance, with a
number and an interval.

Mains terminals belong to licensed people. Disconnect the supply before soldering.
Local codes decide.`,
		Example: `  ohmkeep demo                             # see the whole job on a simulated run
  ohmkeep new --out shelf.toml             # describe your run
  ohmkeep predict shelf.toml               # what should it show?
  ohmkeep plan shelf.toml                  # what is worth reading?
  ohmkeep assess shelf.toml readings.csv   # is every joint sound?`,
		Version:       version(),
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.SetVersionTemplate("ohmkeep {{.Version}}\n")
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	root.AddCommand(newDemo(), newNew(), newPredict(), newPlan(), newSurvey(), newAssess(), newVerify(), newColour(), newRepair(), newLimit(),
		newDrift(), newNote(),
		newImport(), newExport(), newStore(), newProbe(), newWatch(), newStatus(), newToken(), newLink(), newShip(), newFleet())
	root.AddCommand(newTopics()...)
	root.SetFlagErrorFunc(flagFault)
	root.SetHelpCommand(newHelp())
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd() // keeps the output as it is set by now
	addCompletionExamples(root)
	return root
}
