package drift

import (
	"slices"
	"strings"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/run"
)

// note begins a stretch where none began for the same reason at the same moment.
func (t *track) note(n Note) {
	for _, s := range t.Stretch {
		if s.Cause == noted && s.At == n.At {
			return
		}
	}
	if len(t.Stretch) == 0 || n.At < t.Stretch[0].At || len(t.Points) == 0 {
		return // before the first night there is nothing to part
	}
	if last := t.Points[len(t.Points)-1].At; n.At > last+86400 {
		return // its time will come
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

// about tells whether a note concerns a series: where it names elements, those; a
// joint may be named by its number along the run; else all.
func about(text string, t *track, r *run.Run) bool {
	words := strings.FieldsFunc(strings.ToLower(text), func(c rune) bool {
		return c == ' ' || c == ',' || c == ';' || c == ':' || c == '"'
	})
	named := map[string]bool{}
	name := func(kind assessment.Kind, own string) {
		if slices.Contains(words, strings.ToLower(own)) || strings.Contains(own, " ") && strings.Contains(strings.ToLower(text), strings.ToLower(own)) {
			named[string(kind)+own] = true
		}
	}
	for _, f := range r.Feeds {
		name(assessment.Feed, f.Name)
	}
	for i, j := range r.Joints {
		name(assessment.Joint, j.Name)
		for k := 0; k+1 < len(words); k++ {
			if words[k] == "joint" && words[k+1] == number(i+1) {
				named[string(assessment.Joint)+j.Name] = true
			}
		}
	}
	if len(named) == 0 {
		return true
	}
	return named[string(t.Kind)+t.Name] || t.pathKind()
}

func number(n int) string {
	if n > 9 {
		return number(n/10) + string(rune('0'+n%10))
	}
	return string(rune('0' + n))
}
