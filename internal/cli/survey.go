package cli

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/guide"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/probe"
)

// surveyOptions are the flags of survey.
type surveyOptions struct {
	store, since string
	steps        []string
	all, again   bool
	practise     bool
	find         []string // serial ports to search for meters
	listen       string
	entry        entry
}

func newSurvey() *cobra.Command {
	var o surveyOptions
	c := &cobra.Command{
		Use:   "survey [RUN]",
		Short: "Walk along the run from reading to reading until everything is settled",
		Long: `Survey leads along a run through the readings that its plan asks: it says which step to
set and where to put the leads, and takes the values from the probes of the run file, or
typed in. After each reading the estimates are brought up to date, and what is no longer
needed is not asked. A reading that contradicts those before it is asked again at once,
with what was expected; the same value twice is believed. The walk ends when every
joint, feed and reel is settled, or when no reading would tell more.

Every reading is stored at once. A walk that was broken off goes on where it was when
survey is called again, on any machine that has the store; --again begins another one.
Readings of the last day that the store holds count as read; --since says from when on.

Answers: Enter goes on, s leaves a place or step out, u takes the last answer back, r puts
it back, n and a text notes something, p or q pauses. End of input and Ctrl-C pause too:
what was read is kept, and the exit status is 0.
Where a reading is asked again, s withdraws the one that contradicts. While nothing comes
from an instrument, survey says so and takes these answers as well; s then leaves out what
it would read, and what your own meter shows can be typed. A probe that is not there is
named, and its places are asked for as far as a meter of your own can read them.

--listen ADDR serves the walk as a page instead, for a phone on the ladder: the run as it
hangs with the places to touch, the value of the meter on a port or a keypad, tones and
speech. Where that meter is silent, what another one shows can be typed. On an address
that other machines reach it requires --token-file, or --open, as ohmkeep watch does;
several devices may look on and go on with the same walk. The watch has the page too.
Without a RUN the page first asks what the run is made of, draws it, and writes its run
file into this folder, never over an existing one.

The run's low voltage does not shock but its current burns: no rings, no bridged leads.
To put a meter in series with a feed, disconnect the supply first; a clamp is safer.`,
		Example: `  ohmkeep survey shelf.toml --store shelf.db
  ohmkeep survey shelf.toml --store shelf.db --step dark --step "white 5 %"
  ohmkeep survey shelf.toml --store shelf.db --all
  ohmkeep survey shelf.toml --practise
  ohmkeep survey shelf.toml --store shelf.db --listen 0.0.0.0:9478 --token-file walk.token`,
		Args:              argsFrom(0, "[RUN]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 && o.listen == "" {
				return callFault(c, "wants RUN, not 0 arguments")
			}
			if o.practise && o.store != "" {
				return callFault(c, "--practise stores nothing, and takes no --store")
			}
			if !o.practise {
				if err := checkStoreFlag(c, o.store); err != nil {
					return err
				}
			}
			if err := o.entry.check(c); err != nil {
				return err
			}
			if o.listen == "" && o.entry.given() {
				return callFault(c, "flags that say who may enter need --listen")
			}
			if len(args) == 0 && len(o.find) > 0 {
				return callFault(c, "--find wants RUN")
			}
			if len(args) == 0 && len(o.steps) > 0 {
				return callFault(c, "--step wants RUN, which has the steps")
			}
			if len(args) == 0 {
				if err := o.checkBefore(); err != nil {
					return err
				}
				return serveWalk(c, nil, "", o)
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			if len(o.find) > 0 {
				if err := carryFound(c, r, o.find); err != nil {
					return err
				}
			}
			if o.listen != "" {
				return serveWalk(c, r, args[0], o)
			}
			return runSurvey(c, r, args[0], o)
		},
	}
	c.Flags().StringVar(&o.store, "store", "", "the store, a file; made where it does not exist")
	c.Flags().StringArrayVar(&o.steps, "step", nil, "walk only this step; may be given again")
	c.Flags().BoolVar(&o.all, "all", false, "read every place in every step, not only what is needed")
	c.Flags().BoolVar(&o.again, "again", false, "begin another walk, for which nothing counts as read")
	c.Flags().StringVar(&o.since, "since", "", "what was read before does not count (RFC 3339); a day ago where it is left out")
	addFind(c, &o.find, "carry a meter that is found at a serial port which the run file does not name; --find=PORT searches one port")
	c.Flags().BoolVar(&o.practise, "practise", false, "walk along a simulated run with a fault; nothing is stored")
	c.Flags().StringVar(&o.listen, "listen", "", "serve the walk as a page at this address, host:port")
	o.entry.flags(c)
	_ = c.RegisterFlagCompletionFunc("step", completeSteps)
	return c
}

// checkBefore returns an error of the flags that would otherwise be found only when the run is described.
func (o *surveyOptions) checkBefore() error {
	if _, err := parseTimeFlag("--since", o.since); err != nil || o.practise {
		return err
	}
	kept, err := store.Open(o.store)
	if err != nil {
		return err
	}
	return kept.Close()
}

// openSession opens the store and the probes of a run, and returns a session on them. closing ends it, also after
// an error.
func openSession(ctx context.Context, r *runWithProfiles, file string, o surveyOptions) (s *guide.Session, closing func() error, err error) {
	config := guide.Config{Run: r.Run, Own: len(r.OwnMeters()), All: o.all, Seed: uint64(time.Now().UnixNano())}
	closing = func() error {
		closeProbes(config.Probes)
		if config.Store == nil {
			return nil
		}
		return config.Store.Close()
	}
	for _, name := range o.steps {
		if _, err := stepNamed(r.Run, name); err != nil {
			return nil, closing, err
		}
		config.Steps = append(config.Steps, name)
	}
	if config.Since, err = parseTimeFlag("--since", o.since); err != nil {
		return nil, closing, err
	}
	if !o.practise {
		var absent []error
		if config.Probes, absent, err = openProbes(ctx, r, file); err != nil {
			return nil, closing, err
		}
		for _, err := range absent {
			config.Absent = append(config.Absent, err.Error()+" - it is not used: type what your own meters show, or connect it and call survey again.")
		}
		if config.Store, err = store.Open(o.store); err != nil {
			return nil, closing, err
		}
	}
	return guide.New(config), closing, nil
}

func runSurvey(c *cobra.Command, r *runWithProfiles, file string, o surveyOptions) (err error) {
	s, closing, err := openSession(c.Context(), r, file, o)
	defer func() {
		if closed := closing(); err == nil {
			err = closed
		}
	}()
	if err != nil {
		return err
	}
	_, err = during(c, "weighing readings", func() (struct{}, error) { return struct{}{}, s.Prepare(c.Context()) })
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	t := newWalkTerminal(c, s)
	begun := s.Snapshot()
	err = t.walk(c.Context(), o.again)
	taken := s.Snapshot().Task.Taken
	if begun.Walk.Number() > 0 && !o.again {
		taken -= begun.Task.Taken
	}
	if o.practise {
		fmt.Fprintf(c.OutOrStdout(), "practice: %s, none stored; %s\n", count(taken, "simulated reading"), s.SimulatedFault())
		return err
	}
	fmt.Fprintf(c.OutOrStdout(), "%s stored in %s\n", count(max(taken, 0), "reading"), o.store)
	if taken > 0 {
		fmt.Fprintf(c.ErrOrStderr(), "next: ohmkeep assess %s --store %s\n", file, o.store)
	}
	return err
}

// openProbes opens the probes of a run, and returns those that it has opened also with an error. absent are
// the errors of probes that are not there or do not answer; err is that of the run file. A probe that is unplugged
// later is opened again once it is there.
func openProbes(ctx context.Context, r *runWithProfiles, file string) (list []survey.Probe, absent []error, err error) {
	opener := &probe.Opener{Dir: filepath.Dir(file)}
	for i, p := range r.Probes {
		if p.Port == probe.Simulated || strings.HasPrefix(p.Port, probe.Transcript) {
			return list, absent, fault.Fault{File: file, Key: "probe " + p.Name + ": port", Text: p.Port + " measures nothing", Hint: "a survey reads devices"}
		}
		device, err := opener.OpenNow(ctx, p, r.profiles[i])
		if _, wrong := errors.AsType[fault.Fault](err); wrong || ctx.Err() != nil {
			return list, absent, fmt.Errorf("probe %s: %w", p.Name, err)
		}
		if err != nil {
			absent = append(absent, fmt.Errorf("probe %s: %w", p.Name, err))
			continue
		}
		list = append(list, survey.Probe{Probe: p, Device: device})
	}
	return list, absent, nil
}

func closeProbes(list []survey.Probe) {
	var all sync.WaitGroup
	for _, p := range list {
		all.Go(func() { _ = p.Device.Close() }) // nothing more is wanted of it
	}
	all.Wait()
}
