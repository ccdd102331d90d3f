// Package runtest reads the run files of tests.
package runtest

import (
	"testing"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
)

// Parse returns the run that a run file's text describes; a fault ends the test.
func Parse(t testing.TB, text string) *run.Run {
	t.Helper()
	r, err := runfile.Parse("run.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Load returns the run of the run file at path; a fault ends the test.
func Load(t testing.TB, path string) *run.Run {
	t.Helper()
	r, err := runfile.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
