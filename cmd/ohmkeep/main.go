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
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	status := cli.Run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}
