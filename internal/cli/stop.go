package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"
)

// grace is how long an interrupted command has to end in its own way.
const grace = 200 * time.Millisecond

// orderly marks commands that always end in their own way, by annotation: what the
// watch has read and not stored yet is worth more than an end within grace.
const orderly = "orderly"

// untilStopped runs a command, and returns soon after its context has ended even where
// the command does not look at it, as in a long fit, which knows no context. What it was
// doing is then given up with the program. That leaves nothing half-written: files are
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
