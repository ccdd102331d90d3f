package recorder

import (
	"os"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/watch/machine"
)

// markUp records that the probe was opened.
func (p *device) markUp(identity string) {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	now := p.r.o.Clock.Now()
	if p.state == down {
		p.endGap(now, p.changed, p.why)
		p.r.o.Log.Info("probe is back", "probe", p.name, "port", p.port, "after", (now.SinceBoot - p.changed.SinceBoot).Round(time.Second))
	} else {
		p.r.o.Log.Info("probe opened", "probe", p.name, "port", p.port, "identity", identity)
	}
	p.state, p.changed, p.why, p.identity = up, now, "", identity
	p.good, p.bad, p.lastGood, p.lastBad = 0, 0, 0, 0
	p.lastLine, p.comparedAt = now.SinceBoot, now.SinceBoot
}

// endGap adds a mark of the end of a gap that began at since.
func (p *device) endGap(now, since machine.Stamp, why string) {
	p.r.add(Mark{Run: p.r.plan.Run.Name, Kind: Found, Probe: p.name, Text: why, Stamp: now, Since: since})
}

const (
	// A board that repeats its identity as the guide for boards says, about once a minute, does so
	// at intervals of at least minIdentityInterval …
	minIdentityInterval = 30 * time.Second
	// … and at most maxIdentityInterval. Otherwise it has restarted.
	maxIdentityInterval = 5 * time.Minute
	// restartMarks is the shortest interval between two marks of restarts: a board may restart
	// repeatedly, with a different identity each time.
	restartMarks = 10 * time.Minute
)

// comment processes a line without values; r.mu is held. An identity line outside its usual
// interval, after the board has sent values, means that the board has restarted.
func (p *device) comment(text string, now machine.Stamp) {
	its := p.profile.Line.Identity
	if its != nil && !its.MatchString(text) || its == nil && p.identityLine != "" && text != p.identityLine {
		return // not an identity line
	}
	was, since := p.identityLine, p.identityAt
	if since == 0 {
		since = p.changed.SinceBoot
	}
	p.identityLine, p.identity, p.identityAt = text, text, now.SinceBoot
	after := p.identityAt - since
	switch {
	case p.good == 0: // opening the port may reset the board
		return
	case was != "" && text != was: // another board on the same port
	case was == "" && after <= maxIdentityInterval:
		return
	case was != "" && after >= minIdentityInterval && after <= maxIdentityInterval && after >= p.identityInterval*3/4:
		p.identityInterval = max(p.identityInterval, after)
		return
	}
	p.totals.restarts++
	more, ok := p.restarts.allow(p.identityAt)
	if !ok {
		return
	}
	p.r.mark(now, Restarted, p.name, text+more)
	p.r.o.Log.Warn("board has restarted without being unplugged", "probe", p.name, "identity", text+more)
}

// A probe whose channels fail again and again marks faultBurst faults, and then one in each faultMarks.
const (
	faultBurst = 4
	faultMarks = 10 * time.Minute
)

// noteFaults marks that the instrument reports a fault in place of values of a line, in its words.
// There is one mark until the channel has a value again; r.mu is held.
func (p *device) noteFaults(w *wiring, samples []reading.Sample, since time.Duration) {
	begun := ""
	for _, s := range samples {
		c := w.channels[key{s.Channel, s.Quantity}]
		if c == nil {
			continue
		}
		faulty := s.Quality&reading.Faulty != 0
		if faulty && !c.faulty {
			begun = "channel " + s.Channel + ": " + s.Fault
		}
		c.faulty = faulty
	}
	if begun == "" {
		return
	}
	if more, ok := p.faults.allow(since); ok {
		p.r.mark(p.r.o.Clock.At(since), Faulty, p.name, begun+more)
		p.r.o.Log.Warn("probe reports a fault", "probe", p.name, "fault", begun+more)
	}
}

// markDown records that the probe could not be opened or was unplugged.
func (p *device) markDown(err error) {
	if err == nil {
		err = os.ErrClosed
	}
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	p.why = err.Error()
	if p.state == down {
		return
	}
	now := p.r.o.Clock.Now()
	p.identityLine, p.identityAt, p.identityInterval = "", 0, 0
	p.r.mark(now, Lost, p.name, p.why)
	p.r.o.Log.Warn("probe is gone", "probe", p.name, "port", p.port, "why", err)
	p.totals.lost++
	p.state, p.changed, p.silent, p.unreadable = down, now, false, false
}

// sentValues reports whether the probe has sent a valid value since it was opened.
func (p *device) sentValues() bool {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	return p.good > 0
}

const (
	// maxSilence is how long an opened probe may send nothing before it counts as silent.
	maxSilence = 5 * time.Minute
	// lineErrorPeriod is the time over which good and bad lines are compared.
	lineErrorPeriod = 10 * time.Second
)

// monitor detects silent probes and unreadable lines, and the end of those that waited during a
// stall; r.mu is held.
func (p *device) monitor(now time.Duration) {
	if n := len(p.waitingLines); n > 0 && now-p.waitingLines[n-1].read > backlogPause {
		p.queueWaitingLines()
	}
	if p.state != up {
		return
	}
	log := p.r.o.Log.With("probe", p.name)
	if silent := now-p.lastLine >= maxSilence; silent != p.silent {
		p.silent = silent
		if since := p.r.o.Clock.At(p.lastLine); silent {
			p.silentSince = since
			p.r.mark(p.r.o.Clock.At(now), Lost, p.name, "is silent")
			log.Warn("probe is silent", "for", maxSilence)
		} else {
			p.endGap(since, p.silentSince, "was silent")
			log.Info("probe sends again")
		}
	}
	if now-p.comparedAt < lineErrorPeriod {
		return
	}
	good, bad := p.good-p.lastGood, p.bad-p.lastBad
	p.lastGood, p.lastBad, p.comparedAt = p.good, p.bad, now
	switch {
	case !p.unreadable && bad > good:
		p.unreadable = true
		log.Warn("most lines of the probe cannot be read", "bad lines", bad, "good lines", good, "in", lineErrorPeriod)
	case p.unreadable && good > bad:
		p.unreadable = false
		log.Info("the probe's lines can be read again")
	}
}
