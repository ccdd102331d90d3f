// Ohmkeep logs and judges the resistances of long low-voltage LED runs.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"ohmkeep/internal/cli"
)

func main() {
	status := cli.Run(interruptible(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	os.Exit(status)
}

// interruptible returns a context that the first interrupt or termination ends. The
// second ends the program at once.
func interruptible() context.Context {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	return ctx
}
