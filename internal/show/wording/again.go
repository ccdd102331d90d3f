package wording

import (
	"fmt"
	"strconv"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/printable"
)

const (
	fewestTogether = 3  // readings with the same cause that are named together
	mostSingly     = 10 // readings to take again that are named one by one
)

// readAgain returns what to read again: readings that share a cause together, such as those
// of a step that was read in another load, the others one by one.
func readAgain(readings []assessment.Reading) (out []Action) {
	byCause := map[string][]int{}
	for _, r := range readings {
		if r.Suspect && r.Note != "" {
			byCause[r.Note] = append(byCause[r.Note], r.Row)
		}
	}
	singly := 0
	for _, r := range readings {
		rows := byCause[r.Note]
		switch {
		case !r.Suspect:
		case len(rows) >= fewestTogether || r.Used: // what was used is part of a mistake in several readings
			if r.Row == rows[0] {
				again := "take them again"
				if r.Used {
					again = "they were used as if that were so; correct the file, or take them again"
				}
				out = append(out, Action{Text: fmt.Sprintf("Check %d readings, %s: %s; %s.", len(rows), Lines(rows), lower(printable.Line(r.Note)), again)})
			}
		default:
			if singly++; singly <= mostSingly {
				out = append(out, Action{Text: fmt.Sprintf("Take the reading of line %d again: %s.", r.Row, Suspect(r))})
			}
		}
	}
	if singly > mostSingly {
		out = append(out, Action{Text: fmt.Sprintf("Take again what else contradicts the others: %d more, listed by --json.", singly-mostSingly)})
	}
	return out
}

// Lines names rows as lines of the file, neighbours as a range: "lines 2 to 14, 28, 30 to 40".
func Lines(rows []int) string {
	var parts []string
	for i := 0; i < len(rows); {
		end := i
		for end+1 < len(rows) && rows[end+1] == rows[end]+1 {
			end++
		}
		switch {
		case end > i:
			parts = append(parts, fmt.Sprintf("%d to %d", rows[i], rows[end]))
		default:
			parts = append(parts, strconv.Itoa(rows[i]))
		}
		i = end + 1
	}
	if len(rows) == 1 {
		return "line " + parts[0]
	}
	return "lines " + Few(parts)
}

// lower returns a sentence with its first letter in lower case; it must begin with ASCII.
func lower(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
