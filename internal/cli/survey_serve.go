package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"path/filepath"
	"strings"
	"sync"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/internal/run/scaffold"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/site/walking"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/server"
)

// walkServer serves the page of a walk. Without a run it serves first the page that describes one.
type walkServer struct {
	options surveyOptions
	tasks   *errgroup.Group
	ctx     context.Context // ends the tasks

	describing sync.Mutex // held while a run that was described is written

	mu    sync.Mutex
	pages http.Handler
	home  string // the page to begin with
}

// describedAlready answers a device that describes a run after another one has.
const describedAlready = "Another device has described the run meanwhile. Load this page again."

// ServeHTTP answers with the pages that are served now.
func (s *walkServer) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	pages, home := s.pages, s.home
	s.mu.Unlock()
	switch describes := strings.HasPrefix(r.URL.Path, "/new"); {
	case r.URL.Path == "/" || r.URL.Path == "/walk" && home != "/walk" || describes && r.Method == http.MethodGet && home != "/new":
		http.Redirect(w, r, home, http.StatusSeeOther)
	case describes && home != "/new":
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusConflict)
		fmt.Fprintf(w, "{\"error\":%q}\n", describedAlready)
	default:
		pages.ServeHTTP(w, r)
	}
}

func mayWrite(r *http.Request) bool { return access.VisitorOf(r).MayWrite }

// serveWalk serves a walk along a run until an interrupt; nil = a run that is described there.
func serveWalk(c *cobra.Command, r *runWithProfiles, path string, o surveyOptions) error {
	log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
	door, err := o.entry.listen(o.listen, log)
	if err != nil {
		return err
	}
	tasks, ctx := errgroup.WithContext(c.Context())
	s := &walkServer{options: o, tasks: tasks, ctx: ctx}
	if r == nil {
		draw := &walking.Drawing{Write: s.describe, Usual: func(o scaffold.Options) string { return fileName(o.Name) }, Program: version(), MayWrite: mayWrite}
		s.pages, s.home = draw.Handler(), "/new"
	} else if err := s.walk(r, path); err != nil {
		_ = door.listener.Close() // nothing is served
		return err
	}
	fmt.Fprintf(c.ErrOrStderr(), "walk: %s\n", door.address("/walk"))
	door.serve(ctx, tasks, s)
	return tasks.Wait()
}

// walk begins to serve the walk along a run.
func (s *walkServer) walk(r *runWithProfiles, path string) error {
	conducted, closing, err := openSession(s.ctx, r, path, s.options)
	if err != nil {
		_ = closing() // the error before counts
		return err
	}
	next := ""
	if !s.options.practise {
		next = fmt.Sprintf("ohmkeep assess %s --store %s --report FILE writes the report with what to do.", path, s.options.store)
	}
	pages := walking.New(walking.Config{Session: conducted, Run: r.Run, Streams: parts.NewStreams(server.ConnectionLimit()/2, s.ctx.Done()),
		Program: version(), Next: next, MayWrite: mayWrite})
	s.tasks.Go(func() error { pages.Run(s.ctx); return nil })
	s.tasks.Go(func() error {
		err := conducted.Prepare(s.ctx)
		if err == nil && s.options.again {
			err = conducted.Do(s.ctx, conducted.Snapshot().Walk.Number(), walk.Event{Kind: walk.Begin})
		}
		if err == nil {
			conducted.Run(s.ctx)
		} else {
			err = fmt.Errorf("%s: %w", path, err)
		}
		if closed := closing(); err == nil {
			err = closed
		}
		return err
	})
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pages, s.home = pages.Handler(), "/walk"
	return nil
}

// describe writes the run file of a run that was described, and begins the walk along it. A name is that
// of a file in this folder.
func (s *walkServer) describe(text []byte, o scaffold.Options, name string) (string, error) {
	if name == "" {
		name = fileName(o.Name)
	}
	if name != filepath.Base(name) || filepath.Ext(name) != ".toml" {
		return "", fault.Fault{Text: fmt.Sprintf("%q is not the name of a run file in this folder", name), Hint: "such as " + fileName(o.Name)}
	}
	s.describing.Lock()
	defer s.describing.Unlock()
	s.mu.Lock()
	described := s.home != "/new"
	s.mu.Unlock()
	if described {
		return "", errors.New(strings.TrimSuffix(describedAlready, "."))
	}
	err := file.Output{Path: name, Kind: file.RunFile}.Write(func(w io.Writer) error { _, err := w.Write(text); return err })
	if err != nil {
		return "", err
	}
	r, err := loadRun(name)
	if err != nil {
		return "", err
	}
	if err := s.walk(r, name); err != nil {
		return "", fmt.Errorf("%s is written, but the walk along it does not begin: %w", name, err)
	}
	return name, nil
}
