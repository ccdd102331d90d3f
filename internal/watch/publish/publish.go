// Package publish publishes what a watch knows at a broker of MQTT: live values, verdicts and well-being, as
// retained messages of topics that the help topic mqtt describes.
//
// Every message goes through a queue on disk and leaves it when the broker has acknowledged it, in
// order. While the broker is away messages wait; beyond the queue's limit the oldest are dropped
// and counted. A message that the broker refuses is dropped, counted and logged.
package publish

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"sync/atomic"
	"time"

	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/watch/recorder"
)

// Link is the connection to the broker; a *mqtt.Link is one.
type Link interface {
	AwaitUp(ctx context.Context) error
	Connections() uint64 // made so far
	Publish(ctx context.Context, m mqtt.Retained) error
}

// Publisher publishes the state of a watch.
type Publisher struct {
	Root     string // the topic below which it publishes
	Every    time.Duration
	Link     Link
	Queue    *Queue
	Snapshot func() recorder.Snapshot
	History  func() *history.History // nil = there was no analysis yet
	Status   func() Status
	Log      *slog.Logger

	refused atomic.Int64
	fault   atomic.Pointer[string] // of the queue
}

const (
	// statusInterval is the longest time between two messages of the status.
	statusInterval = time.Minute
	// batch is the number of messages that are sent before they leave the queue together: after a kill
	// at most as many are sent twice.
	batch = 64
	// sendPause is the pause after a message that could not be sent over a connection that exists.
	sendPause = time.Second
	// linkCheck is how often it is checked whether there is another connection.
	linkCheck = time.Second
)

// Run publishes until ctx ends.
func (p *Publisher) Run(ctx context.Context) {
	added := make(chan struct{}, 1)
	sent := make(chan struct{})
	go func() { p.send(ctx, added); close(sent) }()
	p.collect(ctx, added)
	<-sent
}

// collect queues messages of what has changed. What could not be queued counts as not sent.
func (p *Publisher) collect(ctx context.Context, added chan<- struct{}) {
	queued := published{times: map[string]time.Duration{}, bodies: map[string]string{}}
	tick := time.NewTicker(p.Every)
	defer tick.Stop()
	for {
		messages, next := p.changed(queued)
		err := p.Queue.Add(context.WithoutCancel(ctx), messages) // what was measured is kept also when ctx has ended
		if p.note(ctx, err); err == nil {
			queued = next
		}
		select {
		case added <- struct{}{}:
		default:
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}

// published is what was queued so far.
type published struct {
	times    map[string]time.Duration // of the newest value of a topic, since boot
	bodies   map[string]string        // of the topics that are published when they change
	status   string                   // the newest, without what changes always …
	statusAt time.Time                // … and when it was queued
}

// changed returns messages of what differs from what was queued, and what is queued once they are.
func (p *Publisher) changed(before published) ([]mqtt.Retained, published) {
	now := published{maps.Clone(before.times), maps.Clone(before.bodies), before.status, before.statusAt}
	messages := values(p.Root, p.Snapshot(), now.times)
	present := map[string]bool{}
	for _, m := range verdicts(p.Root, p.History()) {
		present[m.Topic] = true
		if now.bodies[m.Topic] != m.Payload {
			now.bodies[m.Topic] = m.Payload
			messages = append(messages, m)
		}
	}
	for topic := range now.bodies {
		if !present[topic] { // the run file was read again; an empty message ends a retained one
			delete(now.bodies, topic)
			messages = append(messages, mqtt.Retained{Topic: topic})
		}
	}
	s := p.Status()
	steady := s
	steady.Time, steady.Waiting = time.Time{}, 0
	if text := message(p.Root, steady, "status").Payload; text != now.status || time.Since(now.statusAt) >= statusInterval {
		now.status, now.statusAt = text, time.Now()
		messages = append(messages, message(p.Root, s, "status"))
	}
	return messages, now
}

// send sends what the queue holds. On each connection it first says that the watch is there, because the
// broker has published the opposite when the one before was lost.
func (p *Publisher) send(ctx context.Context, added <-chan struct{}) {
	for ctx.Err() == nil {
		if p.Link.AwaitUp(ctx) != nil {
			return
		}
		connection := p.Link.Connections()
		if err := p.Link.Publish(ctx, mqtt.Retained{Topic: p.Root + "/" + Presence, Payload: Online}); err != nil && !p.isRefused(err) {
			p.pause(ctx)
			continue
		}
		for p.sendAll(ctx) && p.await(ctx, added, connection) {
		}
	}
}

// await waits until messages were added. It returns false when ctx has ended or there is another connection.
func (p *Publisher) await(ctx context.Context, added <-chan struct{}, connection uint64) bool {
	check := time.NewTicker(linkCheck)
	defer check.Stop()
	for p.Link.Connections() == connection {
		select {
		case <-added:
			return true
		case <-check.C:
		case <-ctx.Done():
			return false
		}
	}
	return false
}

// sendAll sends what is in the queue now, and reports whether the connection still serves.
func (p *Publisher) sendAll(ctx context.Context) bool {
	for {
		messages, err := p.Queue.first(ctx, batch)
		if p.note(ctx, err); err != nil || len(messages) == 0 {
			return ctx.Err() == nil
		}
		done := int64(0)
		for _, m := range messages {
			if err = p.Link.Publish(ctx, m.Retained); err != nil && !p.isRefused(err) {
				break
			}
			err, done = nil, m.id
		}
		if done > 0 { // also when ctx has ended: the broker has them
			p.note(ctx, p.Queue.remove(context.WithoutCancel(ctx), done))
		}
		if err != nil {
			p.pause(ctx)
			return false
		}
	}
}

// isRefused counts a message that the broker will never take.
func (p *Publisher) isRefused(err error) bool {
	var refused mqtt.Refused
	if !errors.As(err, &refused) {
		return false
	}
	if p.refused.Add(1) == 1 {
		p.Log.Error("a message is refused", "why", err)
	}
	return true
}

// pause waits before the next try.
func (p *Publisher) pause(ctx context.Context) {
	select {
	case <-time.After(sendPause):
	case <-ctx.Done():
	}
}

// note keeps a fault of the queue, and logs each new one.
func (p *Publisher) note(ctx context.Context, err error) {
	if ctx.Err() != nil {
		return
	}
	if err == nil {
		p.fault.Store(nil)
		return
	}
	why := err.Error()
	if before := p.fault.Swap(&why); before == nil || *before != why {
		p.Log.Error("the queue for the broker", "why", err)
	}
}

// Notes returns what needs attention.
func (p *Publisher) Notes() []string {
	var notes []string
	if why := p.fault.Load(); why != nil {
		notes = append(notes, "the queue for the broker: "+*why)
	}
	if p.refused.Load() > 0 {
		notes = append(notes, "the broker has refused messages")
	}
	return notes
}
