// Package topic has the grammar of topics of MQTT 5.0 (4.7): names of messages, and filters of them.
package topic

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxTopic is the largest number of bytes of a topic (MQTT 5.0, 1.5.4).
const maxTopic = 65535

// Check returns why a text is not the name of a topic that messages can have; nil: it is one.
func Check(topic string) error {
	if strings.ContainsAny(topic, "+#") {
		return fmt.Errorf("%q holds a wildcard, + or #", topic)
	}
	return CheckFilter(topic)
}

// CheckFilter returns why a text is not a filter of topics; nil: it is one. "+" stands for one
// level. The wildcard "#" is refused, because it takes topics that no profile describes.
func CheckFilter(filter string) error {
	switch {
	case filter == "":
		return fmt.Errorf("is empty")
	case len(filter) > maxTopic || !utf8.ValidString(filter) || strings.ContainsFunc(filter, unicode.IsControl):
		return fmt.Errorf("%q is not a topic", filter)
	case strings.Contains(filter, "#"):
		return fmt.Errorf("%q holds the wildcard #", filter)
	case strings.HasPrefix(filter, "$") || strings.HasPrefix(filter, "/") || strings.HasSuffix(filter, "/"):
		return fmt.Errorf("%q begins with $ or /, or ends with /", filter)
	}
	for level := range strings.SplitSeq(filter, "/") {
		if level != "+" && strings.Contains(level, "+") {
			return fmt.Errorf("%q holds a + that is not a whole level", filter)
		}
	}
	return nil
}

// Match reports whether a topic fits a filter, and returns the levels that stand for "+".
func Match(filter, topic string) (levels []string, ok bool) {
	want, got := strings.Split(filter, "/"), strings.Split(topic, "/")
	if len(want) != len(got) {
		return nil, false
	}
	for i, level := range want {
		switch level {
		case "+":
			levels = append(levels, got[i])
		case got[i]:
		default:
			return nil, false
		}
	}
	return levels, true
}

// Level writes a name as one level of a topic: "/", "+", "#", "%" and control characters become %
// and two hexadecimal digits, as RFC 3986 does in addresses.
func Level(name string) string {
	var b strings.Builder
	for i := range len(name) {
		if c := name[i]; strings.IndexByte("/+#%", c) >= 0 || c < ' ' || c == 0x7F {
			fmt.Fprintf(&b, "%%%02X", c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}
