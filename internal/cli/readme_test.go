package cli

import (
	"os"
	"strings"
	"testing"

	"ohmkeep/internal/show/showtest"
)

// The README's steps fit together: in a clean folder its commands describe, predict and
// plan one run, and the readings that it shows are of that run.
func TestReadmeStepsFitTogether(t *testing.T) {
	content, err := os.ReadFile(showtest.Root(t) + "/README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, steps, _ := strings.Cut(string(content), "**1. Describe the run.**")
	steps, _, _ = strings.Cut(steps, "**5. ")
	s := newSession(t)
	ran, table := 0, ""
	for line := range strings.Lines(steps) {
		line, code := strings.CutPrefix(strings.TrimRight(line, "\n"), "    ")
		switch {
		case !code, strings.HasPrefix(line, "ohmkeep survey "): // it asks a person
		case strings.HasPrefix(line, "ohmkeep "):
			if o := s.do(line); o.status == Wrong {
				t.Errorf("$ %s\n%s", line, o.faults)
			}
			ran++
		case strings.HasPrefix(line, "time,") || table != "":
			table += line + "\n"
		}
	}
	if ran < 3 || strings.Count(table, "\n") < 3 {
		t.Fatalf("%d commands, and the readings\n%s", ran, table)
	}
	s.write("typed.csv", table)
	if o := s.do("ohmkeep assess run.toml typed.csv"); o.status == Wrong {
		t.Errorf("the README's readings: %s", o.faults)
	}
}
