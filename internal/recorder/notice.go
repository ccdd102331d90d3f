package recorder

import (
	"os"
	"time"
)

// isUp notes that the probe was opened.
func (p *probe) isUp(identity string) {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	now := p.r.o.Clock.Now()
	if p.state == down {
		p.r.mark(now, Found, p.name, "")
		p.r.o.Log.Info("probe is back", "probe", p.name, "port", p.port, "after", (now.SinceBoot - p.changed.SinceBoot).Round(time.Second))
	} else {
		p.r.o.Log.Info("probe is open", "probe", p.name, "port", p.port, "identity", identity)
	}
	p.state, p.changed, p.why, p.identity = up, now, "", identity
	p.good, p.bad, p.lastGood, p.lastBad = 0, 0, 0, 0
	p.heard, p.looked = now.SinceBoot, now.SinceBoot
}

// isDown notes that the probe could not be opened or is gone.
func (p *probe) isDown(err error) {
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
	p.r.mark(now, Lost, p.name, p.why)
	p.r.o.Log.Warn("probe is gone", "probe", p.name, "port", p.port, "why", err)
	p.totals.lost++
	p.state, p.changed, p.silent, p.garbled = down, now, false, false
}

// worked tells whether the probe said something usable since it was opened.
func (p *probe) worked() bool {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	return p.good > 0
}

const (
	// quiet is how long a probe that is open may say nothing.
	quiet = 5 * time.Minute
	// span is how long lines are compared before their form is judged.
	span = 10 * time.Second
)

// look notices silence and nonsense; r.mu is held.
func (p *probe) look(now time.Duration) {
	if p.state != up {
		return
	}
	log := p.r.o.Log.With("probe", p.name)
	if silent := now-p.heard >= quiet; silent != p.silent {
		p.silent = silent
		if silent {
			log.Warn("probe is silent", "for", quiet)
		} else {
			log.Info("probe speaks again")
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
		log.Warn("most of what the probe says is not understood", "bad lines", bad, "good lines", good, "in", span)
	case p.garbled && good > bad:
		p.garbled = false
		log.Info("the probe is understood again")
	}
}
