package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"
)

// stopTimeout is how long an interrupted command may take to end by itself.
const stopTimeout = 200 * time.Millisecond

// finishes is the annotation of commands that are never cut off after stopTimeout: the watch has
// to store the readings that it still holds, and a transcript has to be whole.
const finishes = "orderly"

// An interrupt has one rule for all commands. One that goes on until it is stopped, or that keeps its work and
// goes on later (watch, probe record, survey), ends as if it had ended by itself, with the exit status of what
// it has done. One that is broken off, with its work lost, says "stopped" and its status is Wrong.

// untilStopped runs a command and returns at most stopTimeout after its context has ended, even
// if the command does not check the context, as in a long fit. The work is then abandoned
// when the program exits. No file is left half-written: files are
// written under another name first (package file), and a store's changes are transactions.
func untilStopped(ctx context.Context, c *cobra.Command, run func() error) error {
	if c.Annotations[finishes] != "" {
		return run()
	}
	done := make(chan error, 1)
	go func() { done <- run() }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	select {
	case err := <-done:
		return err
	case <-time.After(stopTimeout):
		return ctx.Err()
	}
}
