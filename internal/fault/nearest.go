package fault

import (
	"fmt"
	"strings"
)

// Nearest returns the candidate that is spelt most like name, and whether any is
// near enough to be worth suggesting: at most a third of its letters differ
// (optimal string alignment distance: insert, drop, replace, or swap two
// neighbours, each counted once).
func Nearest(name string, candidates []string) (string, bool) {
	best, bestDistance := "", -1
	for _, c := range candidates {
		d := distance(strings.ToLower(name), strings.ToLower(c))
		if bestDistance < 0 || d < bestDistance {
			best, bestDistance = c, d
		}
	}
	longer := max(len([]rune(name)), len([]rune(best)))
	return best, bestDistance >= 0 && bestDistance <= max(1, longer/3)
}

// Suggest returns a hint that names the nearest candidate, or lists them all where
// none is near and they are few.
func Suggest(name string, candidates []string) string {
	if near, ok := Nearest(name, candidates); ok {
		return fmt.Sprintf("did you mean %q?", near)
	}
	switch {
	case len(candidates) == 0:
		return "there are none"
	case len(candidates) <= 12:
		return "known: " + strings.Join(candidates, ", ")
	default:
		return fmt.Sprintf("none of the %d known is like it", len(candidates))
	}
}

// distance is the optimal string alignment distance of two words.
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	const longest = 64 // names are short; a long one is not misspelt but something else
	if len(s) > longest || len(t) > longest {
		return longest
	}
	var before, last, row [longest + 1]int
	for j := range len(t) + 1 {
		last[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row[0] = i
		for j := 1; j <= len(t); j++ {
			cost := 1
			if s[i-1] == t[j-1] {
				cost = 0
			}
			row[j] = min(row[j-1]+1, last[j]+1, last[j-1]+cost)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(t)]
}
