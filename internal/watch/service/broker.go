package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/watch/publish"
	"ohmkeep/internal/watch/recorder"
)

// broker is the connection to the run's broker, and what is published there.
type broker struct {
	link      *mqtt.Link
	queue     *publish.Queue     // nil: nothing is published
	publisher *publish.Publisher // nil: nothing is published
}

// openBroker begins to connect to the broker of the run file; nil if it names none.
func (d *Daemon) openBroker() (b *broker, err error) {
	plan := d.plan.Load()
	its := plan.Run.Broker
	if its == nil {
		return nil, nil
	}
	b = &broker{}
	o := mqtt.Options{Broker: *its, Dir: plan.Dir, Filters: instrument.Filters(plan.Run.Probes, plan.Profiles), Changed: d.brokerChanged}
	if its.Publish != "" {
		o.Will = &mqtt.Retained{Topic: its.Publish + "/" + publish.Presence, Payload: publish.Offline}
		if b.queue, err = publish.OpenQueue(d.config.Queue, its.Queue); err != nil {
			return nil, err
		}
	}
	if b.link, err = mqtt.Dial(o); err != nil {
		return nil, errors.Join(err, b.close())
	}
	if b.queue != nil {
		b.publisher = &publish.Publisher{Root: its.Publish, Every: time.Duration(its.Every * float64(time.Second)), Link: b.link, Queue: b.queue,
			Snapshot: func() recorder.Snapshot { return d.recorder.Snapshot() }, History: func() *history.History { return d.history.Load() },
			Status: d.publishedStatus, Log: d.config.Log}
	}
	return b, nil
}

// close ends the connection after what was received is acknowledged.
func (b *broker) close() error {
	if b == nil {
		return nil
	}
	if b.link != nil {
		b.link.Close()
	}
	if b.queue != nil {
		return b.queue.Close()
	}
	return nil
}

// connection returns the link; nil: there is none.
func (b *broker) connection() *mqtt.Link {
	if b == nil {
		return nil
	}
	return b.link
}

// publish publishes until ctx ends.
func (b *broker) publish(ctx context.Context) error {
	if b != nil && b.publisher != nil {
		b.publisher.Run(ctx)
	}
	return nil
}

// brokerChanged logs a change of the connection.
func (d *Daemon) brokerChanged(up bool, why error) {
	if up {
		d.config.Log.Info("connected to the broker")
		return
	}
	d.config.Log.Warn("broker", "why", why)
}

// reloadBroker subscribes to what a new run file reads. Another broker takes effect at the next start.
func (d *Daemon) reloadBroker(p recorder.Plan) {
	if d.broker == nil {
		d.brokerNote.Store(p.Run.Broker != nil)
		return
	}
	d.brokerNote.Store(p.Run.Broker == nil || *p.Run.Broker != d.broker.link.Broker())
	if err := d.broker.link.Use(instrument.Filters(p.Run.Probes, p.Profiles)); err != nil {
		d.config.Log.Warn("broker", "why", err)
	}
}

// brokerNotes returns what needs attention.
func (d *Daemon) brokerNotes() (notes []string) {
	if d.brokerNote.Load() {
		notes = append(notes, "the run file names another broker: it takes effect at the next start of the watch")
	}
	if d.broker == nil {
		return notes
	}
	if up, why := d.broker.link.Up(); !up {
		notes = append(notes, why.Error())
	}
	if unexpected, lost := d.broker.link.Counts(); unexpected+lost > 0 {
		notes = append(notes, fmt.Sprintf("the broker sent %d messages of topics that no probe reads, and %d for which there was no room", unexpected, lost))
	}
	if d.broker.publisher == nil {
		return notes
	}
	if _, dropped, err := d.broker.queue.Counts(context.Background()); err == nil && dropped > 0 {
		notes = append(notes, fmt.Sprintf("%d messages for the broker were dropped: its queue was full", dropped))
	}
	return append(notes, d.broker.publisher.Notes()...)
}

// publishedStatus returns the status as it is published.
func (d *Daemon) publishedStatus() publish.Status {
	s := d.currentStatus()
	p := publish.Status{Schema: s.Schema, Run: s.Run, Time: s.Time, Well: s.Well, Reasons: s.Reasons, RunState: s.Health.State, Failing: s.Health.Failing, Step: s.Step}
	p.Waiting, p.Dropped, _ = d.broker.queue.Counts(context.Background()) // 0 where they are not known
	return p
}
