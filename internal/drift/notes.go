package drift

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

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

// Concerns returns the feeds, joints and reels that a note names; no parts = it concerns all. A
// joint may be named by its number along the run. A reel that is named alone stands for its joints
// too. The error is that no joint has a given number.
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

// concerns reports whether a note concerns a series. One that names a joint which the run
// does not have, because the run file has changed since, concerns none but those that
// it names besides.
func concerns(text string, t *track, r *run.Run) bool {
	parts, err := Concerns(text, r)
	if len(parts) == 0 {
		return err == nil
	}
	return slices.Contains(parts, Part{t.Kind, t.Name}) || t.pathKind()
}
