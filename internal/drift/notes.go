package drift

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
)

// note begins a stretch, unless one began for the same reason at the same moment.
func (t *track) note(n Note) {
	for _, s := range t.Stretch {
		if s.Cause == noted && s.At == n.At {
			return
		}
	}
	if len(t.Stretch) == 0 || n.At < t.Stretch[0].At || len(t.Points) == 0 {
		return // no nights before it
	}
	if last := t.Points[len(t.Points)-1].At; n.At > last+86400 {
		return // after the newest night; it is taken with a later night
	}
	t.Stretch = append(t.Stretch, stretch{At: n.At, Cause: noted, Called: n.At, Text: n.Text})
	slices.SortStableFunc(t.Stretch, func(a, b stretch) int { return int(sign(a.At - b.At)) })
}

func sign(n int64) int64 {
	switch {
	case n < 0:
		return -1
	case n > 0:
		return 1
	}
	return 0
}

// Part is an element that a note names.
type Part struct {
	Kind run.Kind
	Name string
}

// Concerns returns the feeds, joints and reels that a note names; none if it concerns all. A joint
// may be named by its number along the run. A reel that is named alone also stands for its joints.
// It returns an error if no joint has the given number.
func Concerns(text string, r *run.Run) ([]Part, error) {
	var parts []Part
	words := words(text)
	named := func(name string) bool {
		return slices.Contains(words, strings.ToLower(name)) || strings.Contains(name, " ") && strings.Contains(strings.ToLower(text), strings.ToLower(name))
	}
	for _, f := range r.Feeds {
		if named(f.Name) {
			parts = append(parts, Part{run.KindFeed, f.Name})
		}
	}
	numbers := numbersOf("joint", words)
	for i, j := range r.Joints {
		if named(j.Name) || slices.Contains(numbers, i+1) {
			parts = append(parts, Part{run.KindJoint, j.Name})
		}
	}
	for _, n := range numbers {
		if n < 1 || n > len(r.Joints) {
			return parts, fmt.Errorf("there is no joint %d: the run has %d", n, len(r.Joints))
		}
	}
	if len(parts) > 0 {
		return parts, nil
	}
	for i, reel := range r.Reels {
		if !named(reel.Name) {
			continue
		}
		parts = append(parts, Part{run.KindReel, reel.Name})
		for _, j := range r.Joints {
			if j.From == i || j.To == i {
				parts = append(parts, Part{run.KindJoint, j.Name})
			}
		}
	}
	return parts, nil
}

// words splits a text at characters that no name contains.
func words(text string) []string {
	words := strings.FieldsFunc(strings.ToLower(text), func(c rune) bool {
		return unicode.IsSpace(c) || strings.ContainsRune(`,;:"'()/`, c)
	})
	for i, w := range words {
		words[i] = strings.TrimRight(w, ".!?")
	}
	return words
}

// numbersOf returns the numbers that follow a word.
func numbersOf(word string, words []string) (numbers []int) {
	for i := 1; i < len(words); i++ {
		if n, err := strconv.Atoi(words[i]); err == nil && words[i-1] == word {
			numbers = append(numbers, n)
		}
	}
	return numbers
}

// concerns reports whether a note concerns an element; a path, where what the note names lies in
// it. A note that names a joint which the run does not have, because the run file has changed
// since, concerns only what it names besides.
func concerns(text string, e *elements.Element, r *run.Run) bool {
	parts, err := Concerns(text, r)
	if len(parts) == 0 {
		return err == nil
	}
	return slices.ContainsFunc(parts, func(p Part) bool {
		return p == Part{e.Kind, e.Name} || e.Kind == run.KindPath && e.Covers(r, p.Kind, p.Name)
	})
}

// noted adds the notes on elements that have no track of their own to their series. An element
// without a series gets one: it is steady where it lies in a path that is, and else unproven.
func (s *State) noted(r *run.Run, all []history.Series) []history.Series {
	for _, n := range s.Notes {
		parts, _ := Concerns(n.Text, r) // parts that the run has
		for _, p := range parts {
			if slices.ContainsFunc(s.Tracks, func(t *track) bool { return t.Kind == p.Kind && t.Name == p.Name }) {
				continue
			}
			i := slices.IndexFunc(all, func(x history.Series) bool { return x.Kind == p.Kind && x.Name == p.Name })
			if i < 0 {
				i = len(all)
				all = append(all, s.within(r, p, all))
			}
			all[i].Marks = append(all[i].Marks, history.Mark{Time: moment(n.At), Text: n.Text, Before: math.NaN(), After: math.NaN()})
		}
	}
	return all
}

// within returns the series of an element that is followed in a path at most.
func (s *State) within(r *run.Run, p Part, all []history.Series) history.Series {
	x := unknown(p.Kind, p.Name)
	x.Verdict, x.Why = history.Unproven, "it does not lie between two places that have sensors"
	for _, e := range s.Sensed.Elements(r, s.Day) {
		if e.Kind != run.KindPath || !e.Covers(r, p.Kind, p.Name) {
			continue
		}
		x.Why = "followed only as a part of path " + e.Name
		for _, path := range all {
			if path.Kind == e.Kind && path.Name == e.Name {
				x.First, x.Last = path.First, path.Last
				if path.Verdict == history.Steady {
					x.Verdict = history.Steady
				}
			}
		}
	}
	return x
}
