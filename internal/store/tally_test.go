package store

import "testing"

// tally counts the attempts of a test and what went wrong: readings that are lost, doubled, or at
// another place or time, and losses that are not reported.
type tally struct{ tried, lost, doubled, misplaced, unsaid int }

// print prints a line of the table that internal/release/proof makes.
func (a *tally) print(t *testing.T, what string) {
	t.Helper()
	t.Logf("proof: %s: %d tried, %d lost, %d doubled, %d misplaced, %d unsaid", what, a.tried, a.lost, a.doubled, a.misplaced, a.unsaid)
	if a.tried == 0 || a.lost+a.doubled+a.misplaced+a.unsaid > 0 {
		t.Errorf("%s: %+v", what, *a)
	}
}
