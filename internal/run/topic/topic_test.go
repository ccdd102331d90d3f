package topic

import (
	"slices"
	"strings"
	"testing"
)

// The rules are those of MQTT Version 5.0 (OASIS standard, March 2019), 4.7; "#" and empty levels at an end
// are refused beyond it.
func TestTopics(t *testing.T) {
	for text, want := range map[string]string{
		"a": "", "a/b c/é": "", "": "is empty", "a/+/b": "holds a wildcard", "a/#": "holds a wildcard", "$SYS/x": "begins with $",
		"/a": "begins with $ or /", "a/": "ends with /", "a\x00b": "is not a topic", "a\nb": "is not a topic", "\xff": "is not a topic", strings.Repeat("a", 65536): "is not a topic",
	} {
		if err := Check(text); want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%.20q: %v", text, err)
		}
	}
	for text, want := range map[string]string{"a/+/b": "", "+": "", "a+/b": "not a whole level", "a/#": "wildcard #"} {
		if err := CheckFilter(text); want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func TestMatch(t *testing.T) {
	for _, c := range []struct {
		filter, topic string
		levels        []string
		ok            bool
	}{
		{"a/b", "a/b", nil, true},
		{"a/b", "a/B", nil, false},
		{"a/+", "a/b", []string{"b"}, true},
		{"a/+", "a", nil, false},
		{"a/+", "a/b/c", nil, false},
		{"+/x/+", "1/x/", []string{"1", ""}, true},
	} {
		if levels, ok := Match(c.filter, c.topic); ok != c.ok || !slices.Equal(levels, c.levels) {
			t.Errorf("%s %s: %q %v", c.filter, c.topic, levels, ok)
		}
	}
}

// Names become levels that are topics, and no two names the same.
func TestLevel(t *testing.T) {
	for name, want := range map[string]string{"left.start+": "left.start%2B", "left.start-": "left.start-", "a/b#c%d\n": "a%2Fb%23c%25d%0A", "Büro 1": "Büro 1"} {
		if got := Level(name); got != want || Check("x/"+got) != nil {
			t.Errorf("%q: %q", name, got)
		}
	}
}
