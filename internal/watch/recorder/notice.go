package recorder

import (
	"os"
	"time"

	"ohmkeep/internal/watch/machine"
)

// isUp records that the probe was opened.
func (p *device) isUp(identity string) {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	now := p.r.o.Clock.Now()
	if p.state == down {
		p.gap(now, p.changed, p.why)
		p.r.o.Log.Info("probe is back", "probe", p.name, "port", p.port, "after", (now.SinceBoot - p.changed.SinceBoot).Round(time.Second))
	} else {
		p.r.o.Log.Info("probe is open", "probe", p.name, "port", p.port, "identity", identity)
	}
	p.state, p.changed, p.why, p.identity = up, now, "", identity
	p.good, p.bad, p.lastGood, p.lastBad = 0, 0, 0, 0
	p.heard, p.looked = now.SinceBoot, now.SinceBoot
}

// gap marks the end of a gap.
func (p *device) gap(now, since machine.Stamp, why string) {
	p.r.add(Mark{Run: p.r.plan.Run.Name, Kind: Found, Probe: p.name, Text: why, Stamp: now, Since: since})
}

const (
	// A board that repeats its identity as the guide for boards says, about once a minute, does so
	// at intervals of at least fastBeat …
	fastBeat = 30 * time.Second
	// … and at most slowBeat. Outside of both, it has restarted.
	slowBeat = 5 * time.Minute
	// restartMarks is the least interval between marks of restarts: a board may restart again and
	// again, with a different identity each time.
	restartMarks = 10 * time.Minute
)

// comment processes a line without values; r.mu is held. An identity line outside its usual
// interval, after the board has sent values, means that the board has restarted.
func (p *device) comment(text string, now machine.Stamp) {
	its := p.profile.Line.Identity
	if its != nil && !its.MatchString(text) || its == nil && p.identityLine != "" && text != p.identityLine {
		return // it says something else
	}
	was, since := p.identityLine, p.said
	if since == 0 {
		since = p.changed.SinceBoot
	}
	p.identityLine, p.identity, p.said = text, text, now.SinceBoot
	after := p.said - since
	switch {
	case p.good == 0: // the opening itself may reset it
		return
	case was != "" && text != was: // another board in the same place
	case was == "" && after <= slowBeat:
		return
	case was != "" && after >= fastBeat && after <= slowBeat && after >= p.beat*3/4:
		p.beat = max(p.beat, after)
		return
	}
	p.totals.restarts++
	more, ok := p.restarts.let(p.said)
	if !ok {
		return
	}
	p.r.mark(now, Restarted, p.name, text+more)
	p.r.o.Log.Warn("board began again without being unplugged", "probe", p.name, "identity", text+more)
}

// isDown records that the probe could not be opened or was unplugged.
func (p *device) isDown(err error) {
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
	p.identityLine, p.said, p.beat = "", 0, 0
	p.r.mark(now, Lost, p.name, p.why)
	p.r.o.Log.Warn("probe is gone", "probe", p.name, "port", p.port, "why", err)
	p.totals.lost++
	p.state, p.changed, p.silent, p.garbled = down, now, false, false
}

// worked reports whether the probe has sent a valid value since it was opened.
func (p *device) worked() bool {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	return p.good > 0
}

const (
	// quiet is the longest silence of an open probe.
	quiet = 5 * time.Minute
	// span is the time over which good and bad lines are compared.
	span = 10 * time.Second
)

// look detects silent probes and unreadable lines, and the end of those that waited during a
// stall; r.mu is held.
func (p *device) look(now time.Duration) {
	if n := len(p.late); n > 0 && now-p.late[n-1].read > backlogPause {
		p.settleLate()
	}
	if p.state != up {
		return
	}
	log := p.r.o.Log.With("probe", p.name)
	if silent := now-p.heard >= quiet; silent != p.silent {
		p.silent = silent
		if since := p.r.o.Clock.At(p.heard); silent {
			p.lastHeard = since
			p.r.mark(p.r.o.Clock.At(now), Lost, p.name, "is silent")
			log.Warn("probe is silent", "for", quiet)
		} else {
			p.gap(since, p.lastHeard, "was silent")
			log.Info("probe sends again")
		}
	}
	if now-p.looked < span {
		return
	}
	good, bad := p.good-p.lastGood, p.bad-p.lastBad
	p.lastGood, p.lastBad, p.looked = p.good, p.bad, now
	switch {
	case !p.garbled && bad > good:
		p.garbled = true
		log.Warn("most lines of the probe cannot be read", "bad lines", bad, "good lines", good, "in", span)
	case p.garbled && good > bad:
		p.garbled = false
		log.Info("the probe's lines can be read again")
	}
}
