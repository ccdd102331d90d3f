package watched

import (
	"bytes"
	"html/template"
	"math"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
)

// picture is a picture for a page and for a phone.
type picture struct{ Wide, Narrow template.HTML }

// hung is the run as it hangs, drawn once a revision.
type hung struct {
	picture
	drawn bool
}

// present returns the revision of the pages. A page that is made takes it before it reads anything, so that
// its script loads it again if something has changed meanwhile. It counts from the start's time in seconds, so that a
// page that was open before a restart is brought up to date too.
func (p *Pages) present() int {
	h, r := p.source.History(), p.source.Run()
	p.mu.Lock()
	defer p.mu.Unlock()
	if h != p.history || r != p.run {
		p.history, p.run = h, r
		p.change()
		select {
		case p.changed <- struct{}{}:
		default: // it is known already that something has changed
		}
	}
	return p.revision
}

// state is what a page has been made of, for its script.
type state struct {
	Now      string // of the watch's clock, ms since 1970
	Revision int
}

func stateAt(revision int, now time.Time) state { return state{millis(now), revision} }

// change begins a new revision; p.mu is held.
func (p *Pages) change() {
	p.revision++
	p.picture = hung{}
}

// hang returns the run as it hangs with what its history and the readings taken by hand say of
// each element. They were read at a revision or later; only the picture of the present one is kept.
func (p *Pages) hang(revision int, r *run.Run, h *history.History, hand []assessment.Element) (picture, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.picture.drawn && p.revision == revision {
		return p.picture.picture, nil
	}
	var elements []chart.HangElement
	if h != nil {
		for _, s := range h.Series {
			elements = append(elements, hangElement(s))
		}
	}
	for _, e := range hand { // in place of a series without a value
		l := wording.LineOf(e)
		one := chart.HangElement{Kind: e.Kind, Name: e.Name, Verdict: e.Verdict}
		if !math.IsNaN(e.Ohms) {
			one.Text, one.More = l.Value+" "+l.Unit, l.Low+" … "+l.High
		}
		elements = append(elements, one)
	}
	drawn, err := draw(func(width int) *chart.Picture { return chart.Hang(r, elements, chart.Lit{}, width) })
	if err == nil && p.revision == revision {
		p.picture = hung{drawn, true}
	}
	return drawn, err
}

// hangElement returns what the picture says of an element.
func hangElement(s history.Series) chart.HangElement {
	l := wording.SeriesLineOf(s)
	e := chart.HangElement{Kind: s.Kind, Name: s.Name, Verdict: wording.SeriesVerdict(s)}
	if known(s) {
		e.Text, e.More = l.Ohms+" mΩ", l.Interval
	}
	return e
}

// known reports whether a series has a value.
func known(s history.Series) bool { return !math.IsNaN(s.Ohms) }

// phone is the width of a picture on a phone of 360 px, so that its letters are shown at their size.
const phone = 344

// draw draws a picture for a page and for a phone, in the page's own colours.
func draw(at func(width int) *chart.Picture) (d picture, err error) {
	inline := func(p *chart.Picture) template.HTML {
		var b bytes.Buffer
		if failed := p.Inline(&b); failed != nil {
			err = failed
		}
		return template.HTML(b.String()) // the picture has escaped its own text
	}
	d = picture{inline(at(chart.Wide)), inline(at(phone))}
	return d, err
}
