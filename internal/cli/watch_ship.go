package cli

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/central/archive"
	"ohmkeep/internal/central/description"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/remotewrite"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/file"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/storage"
)

// shipping are the flags of watch by which it sends what it stores to other databases.
type shipping struct {
	to, remote string
	by         central
	every      time.Duration
	takeOver   bool // this store sends the run from now on, in place of another
}

func (o *shipping) flags(c *cobra.Command) {
	c.Flags().StringVar(&o.to, "ship", "", "send what is stored to this central database too, such as postgres://user@host/ohmkeep; without it nothing is sent anywhere")
	c.Flags().StringVar(&o.remote, "remote-write", "", remoteWriteUsage)
	c.Flags().DurationVar(&o.every, "ship-every", 0, "how often what is new is sent; from 30s on the connection is closed meanwhile; 0: as often as --commit")
	o.by.flags(c)
	o.by.rateFlag(c)
	o.by.codesFlag(c)
}

// releaseFrom is how long a connection to a central database would have to be idle, so that it is closed.
const releaseFrom = 30 * time.Second

const remoteWriteUsage = "send readings and verdicts as samples to this receiver of the Remote-Write protocol, such as http://host:9090/api/v1/write"

// destinations returns where a run is sent; none without the flags.
func (o *shipping) destinations(c *cobra.Command, r *run.Run, log *slog.Logger) (all []ship.Destination, err error) {
	if o.every < 0 {
		return nil, callFault(c, "--ship-every %v is less than nothing", o.every)
	}
	r, codes, err := o.by.named(r)
	if err != nil {
		return nil, err
	}
	add := func(to ship.Destination) {
		if codes != nil {
			to = ship.Coded{Destination: to, Codes: codes}
		}
		all = append(all, to)
	}
	if codes != nil {
		text, err := file.Read(r.File, file.MaxRunFile)
		if err == nil {
			_, err = codes.File(string(text)) // now, and not after a night
		}
		if err != nil {
			return nil, err
		}
	}
	if o.to != "" {
		address := strings.Clone(o.to)
		if err := postgres.Check(address); err != nil {
			return nil, err
		}
		settings, err := o.by.options(c, address)
		if err != nil {
			return nil, err
		}
		to := archive.NewSink(address, settings, r)
		if o.takeOver {
			to.TakeOver()
		}
		add(to)
	}
	if o.remote != "" {
		address := strings.Clone(o.remote)
		if err := remotewrite.Check(address); err != nil {
			return nil, err
		}
		settings, err := o.by.options(c, address)
		if err != nil {
			return nil, err
		}
		to, err := remotewrite.NewSink(address, settings.BytesPerSecond, archive.SiteOf(r), r, log)
		if err != nil {
			return nil, err
		}
		add(to)
	}
	return all, nil
}

// analyser is the nightly analysis of a watch.
type analyser func(context.Context, recorder.Plan) (*history.History, error)

// follow sends what the watch stores until ctx ends, and after each analysis its verdicts. It
// returns the analysis to use, and a function that waits for the end.
func follow(ctx context.Context, kept *storage.Store, r *run.Run, to []ship.Destination, every time.Duration, log *slog.Logger) (analyser, func()) {
	if len(to) == 0 {
		return kept.Analyse, func() {}
	}
	var tasks sync.WaitGroup
	var waiting []chan ship.Description
	for _, one := range to {
		updates := make(chan ship.Description, 1)
		waiting = append(waiting, updates)
		tasks.Go(func() {
			f := ship.Follower{Use: kept.With, Run: r.Name, To: one, Every: every, Release: every >= releaseFrom, Log: log, Descriptions: updates}
			f.Follow(ctx)
		})
	}
	announce := func(ctx context.Context, r *run.Run, found *history.History) {
		var made ship.Description
		err := kept.With(func(s *store.Store) (err error) {
			made, err = description.Make(ctx, s, r, found, time.Now())
			return err
		})
		if err != nil {
			log.Warn("the verdicts are not shipped", "why", err)
			return
		}
		for _, updates := range waiting {
			select {
			case <-updates: // an older one that was not sent yet
			default:
			}
			updates <- made
		}
	}
	return func(ctx context.Context, plan recorder.Plan) (*history.History, error) {
		found, err := kept.Analyse(ctx, plan)
		if err == nil {
			announce(ctx, plan.Run, found)
		}
		return found, err
	}, tasks.Wait
}
