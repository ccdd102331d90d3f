package chart

import (
	"math"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// HangElement is what a picture of the run as it hangs says of one element.
type HangElement struct {
	Kind    run.Kind
	Name    string
	Verdict assessment.Verdict
	Text    string // its value, such as "97.6 mΩ"; "" = nothing is known
	More    string // in small letters below it, such as its interval; may be ""
}

// Hang draws the run as it hangs: reels in lines one below the other, both conductors of each,
// joints between them, feeds from above, and what is known of each element beside it. It is not to
// scale: each reel has room for its text. width is in pixels.
func Hang(r *run.Run, elements []HangElement, lit Lit, width int) *Picture {
	h := hang{run: r, lit: lit, width: float64(width), known: map[string]HangElement{}}
	if h.run == nil {
		h.run = &run.Run{}
	}
	for _, e := range elements {
		h.known[string(e.Kind)+" "+e.Name] = e
	}
	return h.picture()
}

// hang is the state of drawing a run as it hangs.
type hang struct {
	run   *run.Run
	lit   Lit
	width float64
	known map[string]HangElement // by kind and name, such as "joint west-north"
	rows  []hangRow
	at    []bar // by reel
	sources
}

// hangRow is a line of reels that are joined end to start.
type hangRow struct {
	reels  []int
	top    float64 // y of the plus conductor
	above  []*label
	below  []*label
	label  float64 // height of its labels
	height float64
	onward int // the reel that goes on in the next line, or -1
}

// bar is where a reel is drawn: from x0 to x1, in a line.
type bar struct {
	x0, x1 float64
	row    int
}

// Sizes of the picture, px.
const (
	hangMargin = 16.0
	reelRoom   = 150.0 // least width of a reel with its text
	jointRoom  = 46.0  // between two reels
	railRoom   = 30.0  // from the plus to the minus conductor
	boxHeight  = 34.0  // of a supply or junction
	mostReels  = 240   // reels of a longer run are drawn narrow and without their pixels
)

// chains returns the reels in lines of unlimited length: each begins with a reel that follows none
// or branches off, and goes on with the first that follows it.
func chains(r *run.Run) [][]int {
	followers := make([][]int, len(r.Reels))
	var begin []int
	for i, reel := range r.Reels {
		if f := reel.Follows; f >= 0 && f < len(r.Reels) && f != i {
			followers[f] = append(followers[f], i)
		} else {
			begin = append(begin, i)
		}
	}
	placed := make([]bool, len(r.Reels))
	var out [][]int
	var follow func(i int)
	follow = func(i int) {
		var chain, branches []int
		for i >= 0 && !placed[i] {
			placed[i] = true
			chain = append(chain, i)
			next := -1
			for n, f := range followers[i] {
				if n == 0 {
					next = f
				} else {
					branches = append(branches, f)
				}
			}
			i = next
		}
		if len(chain) > 0 {
			out = append(out, chain)
		}
		for _, b := range branches {
			follow(b)
		}
	}
	for _, i := range begin {
		follow(i)
	}
	for i := range r.Reels { // in a ring every reel follows another
		follow(i)
	}
	return out
}

// layReels sets the lines and bars. A chain that is too long for a line goes on in the next, with
// about as many reels in each.
func (h *hang) layReels() {
	h.at = make([]bar, len(h.run.Reels))
	room := reelRoom
	if len(h.run.Reels) > mostReels {
		room = reelRoom / 4
	}
	inner := h.width - 2*hangMargin - jointRoom/2 // half a joint stands beyond the end of a line that goes on
	most := max(1, int((inner+jointRoom)/(room+jointRoom)))
	for _, chain := range chains(h.run) {
		lines := (len(chain) + most - 1) / most
		per := (len(chain) + lines - 1) / lines
		for len(chain) > 0 {
			n := min(per, len(chain))
			row := hangRow{reels: chain[:n], onward: -1}
			if chain = chain[n:]; len(chain) > 0 {
				row.onward = chain[0]
			}
			h.layLine(row, inner, room, per)
		}
	}
}

// layLine places the reels of a line: each has the least room, and the rest is shared by length.
func (h *hang) layLine(row hangRow, inner, room float64, per int) {
	metres := func(i int) float64 {
		m := h.run.Reels[i].CopperLength()
		if !drawable(m) || m < 0 {
			return 0
		}
		return m
	}
	total := 0.0
	for _, i := range row.reels {
		total += metres(i)
	}
	n := float64(len(row.reels))
	spare := inner - n*room - (n-1)*jointRoom
	if len(row.reels) < per { // a last line with fewer reels keeps to the size of those above
		spare = min(spare, n*(inner-float64(per)*room-float64(per-1)*jointRoom)/float64(per))
	}
	x := hangMargin
	for _, i := range row.reels {
		share := 1 / n
		if total > 0 {
			share = metres(i) / total
		}
		wide := room + max(0, spare)*share
		h.at[i] = bar{x, x + wide, len(h.rows)}
		x += wide + jointRoom
	}
	h.rows = append(h.rows, row)
}

// reelX returns where a pixel of a reel is.
func (h *hang) reelX(reel, pixel int) float64 {
	b, n := h.at[reel], h.run.Reels[reel].Pixels
	part := 0.0
	if n > 1 {
		part = math.Min(1, math.Max(0, float64(pixel-1)/float64(n-1)))
	}
	return b.x0 + part*(b.x1-b.x0)
}

// element returns what is known of an element; its text may be "".
func (h *hang) element(kind run.Kind, name string) HangElement {
	e := h.known[string(kind)+" "+name]
	e.Kind, e.Name = kind, name
	return e
}
