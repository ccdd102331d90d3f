package runfile

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"ohmkeep/internal/run/toml"
)

// longestRemark is the greatest number of letters in a text of the installation.
const longestRemark = 200

// readInstallation reads for whom a run was built, where, by whom and when.
func (r *reader) readInstallation() {
	t, ok := r.root.Table("installation")
	if !ok {
		return
	}
	i := &r.run.Installation
	i.For, i.Place, i.Installer = readRemark(t, "for"), readRemark(t, "place"), readRemark(t, "installer")
	text, ok := t.Text("date")
	if !ok {
		return
	}
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fault("date", fmt.Sprintf("%q is not a day", text), `such as "2026-11-20"`)
		return
	}
	i.Date = day
}

// readRemark reads a text of one line; "" for a missing one.
func readRemark(t *toml.Table, key string) string {
	text, ok := t.Text(key)
	switch {
	case !ok:
		return ""
	case strings.TrimSpace(text) == "":
		t.Fault(key, "is empty", "leave the key out")
	case len([]rune(text)) > longestRemark:
		t.Fault(key, fmt.Sprintf("is longer than %d letters", longestRemark), "")
	case strings.ContainsFunc(text, func(c rune) bool { return !unicode.IsPrint(c) }):
		t.Fault(key, fmt.Sprintf("%q holds a control character", text), "one line of text")
	}
	return strings.TrimSpace(text)
}
