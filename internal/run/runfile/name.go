package runfile

import (
	"fmt"
	"strings"
	"unicode"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run/toml"
)

const longestName = 64

// names maps the names already used in one set to their tables.
type names map[string]*toml.Table

// readLabel reads a name that is used in points, joints and readings. It must not contain dots, signs
// and commas, which separate names there.
func (r *reader) readLabel(t *toml.Table, taken names) string {
	name := r.readPhrase(t)
	if name == "" {
		return ""
	}
	for _, c := range name {
		if !unicode.IsLetter(c) && !unicode.IsMark(c) && !unicode.IsDigit(c) && !strings.ContainsRune(" _-", c) {
			t.Fault("name", fmt.Sprintf("%q cannot hold %q", name, c), "letters, digits, space, underscore and hyphen")
			break
		}
	}
	if strings.HasPrefix(name, "-") || strings.HasSuffix(name, "-") {
		t.Fault("name", fmt.Sprintf("%q begins or ends with a hyphen", name), "a hyphen is allowed only between letters")
	}
	taken.take(t, name)
	return name
}

// readTitle reads a name that must only differ from the names of the same kind.
func (r *reader) readTitle(t *toml.Table, taken names) string {
	name := r.readPhrase(t)
	if name != "" {
		taken.take(t, name)
	}
	return name
}

// readPhrase reads a name of any printable letters; "" for a missing one.
func (r *reader) readPhrase(t *toml.Table) string {
	name, ok := t.Text("name")
	switch {
	case !ok && !t.Has("name"):
		t.Missing("name", "what it is called")
	case !ok:
	case strings.TrimSpace(name) != name || name == "":
		t.Fault("name", fmt.Sprintf("%q is empty or begins or ends with a space", name), "")
	case len([]rune(name)) > longestName:
		t.Fault("name", fmt.Sprintf("is longer than %d letters", longestName), "")
	case strings.ContainsFunc(name, unprintable):
		t.Fault("name", fmt.Sprintf("%q holds quotation marks, a comma or a control character", name), "")
	}
	return name
}

// readText reads an optional text of any printable letters; "" for a missing one.
func readText(t *toml.Table, key string) string {
	text, ok := t.Text(key)
	switch {
	case !ok:
	case strings.TrimSpace(text) != text || text == "":
		t.Fault(key, fmt.Sprintf("%q is empty or begins or ends with a space", text), "")
	case len([]rune(text)) > longestName:
		t.Fault(key, fmt.Sprintf("is longer than %d letters", longestName), "")
	case strings.ContainsFunc(text, unprintable):
		t.Fault(key, fmt.Sprintf("%q holds quotation marks, a comma or a control character", text), "")
	}
	return text
}

func unprintable(c rune) bool { return !unicode.IsPrint(c) || strings.ContainsRune(`",`, c) }

func (n names) take(t *toml.Table, name string) {
	if before, ok := n[name]; ok {
		t.Fault("name", fmt.Sprintf("%q is already the name of what begins on line %d", name, before.Line("")), "")
		return
	}
	n[name] = t
}

// readChoice reads one of several words and returns its index. fallback is the index for a missing key,
// or -1 where the key is required.
func readChoice(t *toml.Table, key string, words []string, fallback int) int {
	word, ok := t.Text(key)
	if !ok {
		if !t.Has(key) && fallback < 0 {
			t.Missing(key, fault.Suggest("", words))
		}
		return max(fallback, 0)
	}
	for i, w := range words {
		if w == word {
			return i
		}
	}
	t.Fault(key, fmt.Sprintf("%q is not known here", word), fault.Suggest(word, words))
	return max(fallback, 0)
}

// unknownName reports an unknown name, with the most similar known one.
func unknownName(t *toml.Table, key, what, name string, have []string) {
	t.Fault(key, fmt.Sprintf("no %s is named %q", what, name), fault.Suggest(name, have))
}
