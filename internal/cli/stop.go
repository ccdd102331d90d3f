package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"
)

// grace is how long an interrupted command may take to end by itself.
const grace = 200 * time.Millisecond

// orderly is the annotation of commands that are never cut off after grace: the watch has
// to store the readings that it still holds.
const orderly = "orderly"

// untilStopped runs a command and returns at most grace after its context has ended, even
// if the command does not check the context, as in a long fit. The work is then abandoned
// when the program exits. No file is left half-written: files are
// written under another name first (package file), and a store's changes are transactions.
func untilStopped(ctx context.Context, c *cobra.Command, run func() error) error {
	if c.Annotations[orderly] != "" {
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
	case <-time.After(grace):
		return ctx.Err()
	}
}
