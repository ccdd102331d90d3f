package cli

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/show/table"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/store"
	"ohmkeep/internal/text/printable"
)

// markLine is something that happened to a run, as JSON.
type markLine struct {
	Time    string `json:"time"`
	Kind    string `json:"kind"`
	Subject string `json:"subject"`
	Text    string `json:"text"`
	// Withdrawn is the time at which the mark was withdrawn; left out if it was not.
	Withdrawn string `json:"withdrawn,omitempty"`
}

// listMarks prints the marks of a run, one a line.
func listMarks(c *cobra.Command, file, from string, asJSON bool) error {
	r, err := loadRun(file)
	if err != nil {
		return err
	}
	s, err := store.OpenReadOnly(from)
	if err != nil {
		return err
	}
	defer s.Close()
	marks, err := s.AllMarks(c.Context(), r.Name, time.Time{}, time.Time{})
	if err != nil && !store.Damaged(err) {
		return err
	}
	damage := err // reported after the marks that can be read
	if asJSON {
		list := make([]markLine, len(marks))
		for i, m := range marks {
			list[i] = markLine{Time: m.Time.Format(time.RFC3339Nano), Kind: m.Kind, Subject: m.Subject, Text: m.Text}
			if !m.Withdrawn.IsZero() {
				list[i].Withdrawn = m.Withdrawn.Format(time.RFC3339Nano)
			}
		}
		if err := json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"schema": 1, "run": r.Name, "marks": list}); err != nil {
			return err
		}
		return damage
	}
	if len(marks) == 0 && damage == nil {
		fmt.Fprintf(c.OutOrStdout(), "%s: nothing is noted of %s\n", from, printable.Line(r.Name))
	}
	var lines []table.Item
	for _, m := range marks {
		if m.Kind == store.MarkWalk {
			if m.Text = walk.Summary(m.Text); m.Text == "" {
				continue
			}
		}
		what := wording.MarkWord(m.Kind)
		var texts []string
		for _, text := range []string{m.Subject, m.Text} {
			if text != "" {
				texts = append(texts, printable.Line(text))
			}
		}
		if !m.Withdrawn.IsZero() {
			texts = append(texts, fmt.Sprintf("(withdrawn on %s)", m.Withdrawn.Format(time.DateOnly)))
		}
		lines = append(lines, table.Item{Head: fmt.Sprintf("%s  %-18s  ", m.Time.Format(time.RFC3339), printable.Line(what)), Text: strings.Join(texts, "  ")})
	}
	if err := table.List(c.OutOrStdout(), lines, styleOf(c.OutOrStdout())); err != nil {
		return err
	}
	return damage
}
