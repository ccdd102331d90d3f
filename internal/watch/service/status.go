package service

import (
	"errors"
	"fmt"
	"regexp"
	"time"

	"ohmkeep/internal/watch/metrics"
	"ohmkeep/internal/watch/recorder"
)

// Status is the answer to GET /status: the state of the watch, which is the program and
// its instruments, and that of the run, which it measures.
type Status struct {
	Schema  int      `json:"schema"`
	Well    bool     `json:"well"`    // the watch
	Reasons []string `json:"reasons"` // why it is not
	Notes   []string `json:"notes"`   // what needs attention although the watch is well
	Health  Health   `json:"run_health"`
	recorder.Snapshot
	Disk *Disk `json:"disk"` // nil = not known
}

// Disk is the disk that the store is on, in bytes.
type Disk struct {
	Store   int64 `json:"store_bytes"`
	Free    int64 `json:"free_bytes"`
	Size    int64 `json:"size_bytes"`
	Written int64 `json:"device_written_bytes"` // since boot, by all programs; -1 = not known
}

// currentStatus returns the present status.
func (d *Daemon) currentStatus() Status {
	s := Status{Schema: 1, Reasons: []string{}, Notes: []string{}, Snapshot: d.recorder.Snapshot(), Health: healthOf(d.history.Load())}
	if !d.ready.Load() {
		s.Reasons = append(s.Reasons, "starting")
	}
	s.Reasons = append(s.Reasons, s.Snapshot.Reasons()...)
	if disk, err := d.disk(); err == nil {
		s.Disk = &Disk{disk.Store, disk.Free, disk.Size, disk.Written}
	}
	s.Well = len(s.Reasons) == 0
	if why := d.refused.Load(); why != nil {
		s.Notes = append(s.Notes, "the newest run file is refused: "+*why)
	}
	if d.config.Notes != nil {
		s.Notes = append(s.Notes, d.config.Notes()...)
	}
	s.Notes = append(s.Notes, d.config.Access.Notes()...)
	if d.config.TLS != nil {
		s.Notes = append(s.Notes, d.config.TLS.Notes(time.Now())...)
	}
	s.Notes = append(s.Notes, d.brokerNotes()...)
	s.Notes = append(s.Notes, d.plan.Load().Run.ParallelWarnings()...)
	if !s.Certain {
		s.Notes = append(s.Notes, "the dates of readings are uncertain: nothing confirms this machine's clock")
	}
	for _, p := range s.Probes {
		switch p.Source {
		case "simulated":
			s.Notes = append(s.Notes, "probe "+p.Name+" is simulated: its values were not measured")
		case "transcript":
			s.Notes = append(s.Notes, "probe "+p.Name+" repeats a transcript: its values were measured at another time")
		}
	}
	if s.Dropped+s.Refused > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("%d readings were lost", s.Dropped+s.Refused))
	}
	s.withoutFolders()
	return s
}

// folders matches the folders of a path in a text.
var folders = regexp.MustCompile(`(^|[\s"'(=:])/(?:[^\s/:"']+/)*`)

// withoutFolders replaces each path in a status by its last name, so that the status does
// not show the folders of this machine.
func (s *Status) withoutFolders() {
	last := func(text *string) { *text = folders.ReplaceAllString(*text, "$1") }
	for _, texts := range [][]string{s.Reasons, s.Notes} {
		for i := range texts {
			last(&texts[i])
		}
	}
	last(&s.StoreFault)
	for i := range s.Probes {
		last(&s.Probes[i].Port)
		last(&s.Probes[i].Why)
	}
}

func (d *Daemon) disk() (metrics.Disk, error) {
	if d.config.Disk == nil {
		return metrics.Disk{}, errors.ErrUnsupported
	}
	return d.config.Disk()
}

// Verdict is the verdict of a status, worst last.
type Verdict int

const (
	Good     Verdict = iota
	Unproven         // nothing is known to be wrong, but something is not known
	Bad
)

// Verdict returns the worse of that of the watch and that of the run.
func (s Status) Verdict() Verdict { return max(s.watchVerdict(), s.Health.Verdict()) }

// watchVerdict returns the verdict on the watch: unproven where a channel never had a good
// reading or the dates are uncertain.
func (s Status) watchVerdict() Verdict {
	switch {
	case !s.Well:
		return Bad
	case len(s.channelsWithoutReading()) > 0 || !s.Certain:
		return Unproven
	}
	return Good
}

// channelsWithoutReading returns the channels that never had a good reading, in words.
func (s Status) channelsWithoutReading() (channels []string) {
	for _, p := range s.Probes {
		for _, ch := range p.Channels {
			if ch.Age == nil {
				channels = append(channels, fmt.Sprintf("probe %s, channel %s: no good %s reading yet", p.Name, ch.ID, ch.What))
			}
		}
	}
	return channels
}

// Part is one half of a status in words.
type Part struct {
	Verdict Verdict
	Text    string // a sentence
	Details []string
}

// WatchPart returns the state of the watch.
func (s Status) WatchPart() Part {
	if !s.Well {
		return Part{Verdict: s.watchVerdict(), Text: "The watch is not well:", Details: s.Reasons}
	}
	return Part{Verdict: s.watchVerdict(), Text: "The watch is well.", Details: s.channelsWithoutReading()}
}

// Parts returns the state of the run and that of the watch, the worse first.
func (s Status) Parts() []Part {
	watch, run := s.WatchPart(), s.Health.part()
	if watch.Verdict > run.Verdict {
		return []Part{watch, run}
	}
	return []Part{run, watch}
}
