package cli

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/guide"
	"ohmkeep/internal/run"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/site/walking"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/server"
)

// shutdownTime is how long requests may take to end after an interrupt.
const shutdownTime = 300 * time.Millisecond

// serveWalk serves the page of a walk until an interrupt.
func serveWalk(c *cobra.Command, s *guide.Session, r *run.Run, o surveyOptions) error {
	log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
	guard, certificate, err := o.entry.load(o.listen, log)
	if err != nil {
		return err
	}
	listener, err := server.Listen(o.listen)
	if err != nil {
		return err
	}
	for _, note := range guard.Notes() {
		log.Warn(note)
	}
	tasks, ctx := errgroup.WithContext(c.Context())
	mux := http.NewServeMux()
	pages := walking.New(walking.Config{Session: s, Run: r, Streams: parts.NewStreams(server.ConnectionLimit()/2, ctx.Done()), Program: version(),
		MayWrite: func(r *http.Request) bool { return access.VisitorOf(r).MayWrite }})
	mux.Handle("/", pages.Handler())
	mux.Handle("GET /{$}", http.RedirectHandler("/walk", http.StatusSeeOther))
	answers := server.New(listener, guard.Handler(mux, parts.Root), server.Options{Certificate: certificate})
	fmt.Fprintf(c.ErrOrStderr(), "walk: %s\n", walkAddress(listener.Addr(), certificate != nil))
	tasks.Go(answers.Serve)
	tasks.Go(func() error {
		<-ctx.Done()
		closing, stop := context.WithTimeout(context.WithoutCancel(ctx), shutdownTime)
		defer stop()
		answers.Shutdown(closing)
		return nil
	})
	tasks.Go(func() error { pages.Run(ctx); return nil })
	tasks.Go(func() error {
		if err := s.Prepare(ctx); err != nil {
			return fmt.Errorf("%s: %w", r.File, err)
		}
		s.Run(ctx)
		return nil
	})
	return tasks.Wait()
}

// walkAddress returns the address of the page, as a browser of this machine opens it.
func walkAddress(at net.Addr, secure bool) string {
	scheme := "http"
	if secure {
		scheme = "https"
	}
	host, port, err := net.SplitHostPort(at.String())
	if ip := net.ParseIP(host); err == nil && ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	return scheme + "://" + net.JoinHostPort(host, port) + "/walk"
}
