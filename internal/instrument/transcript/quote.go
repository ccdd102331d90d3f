package transcript

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// quote writes bytes as printable ASCII.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for i := range len(s) {
		switch c := s[i]; {
		case c == '\n':
			b.WriteString(`\n`)
		case c == '\r':
			b.WriteString(`\r`)
		case c == '\t':
			b.WriteString(`\t`)
		case c == '"', c == '\\':
			b.WriteByte('\\')
			b.WriteByte(c)
		case c < ' ', c > '~':
			fmt.Fprintf(&b, `\x%02X`, c)
		default:
			b.WriteByte(c)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// unquote reads what quote wrote, and gives what follows it.
func unquote(s string) (bytes, after string, err error) {
	if !strings.HasPrefix(s, `"`) {
		return "", "", errors.New("no quotation mark behind the mark")
	}
	var b strings.Builder
	for i := 1; i < len(s); i++ {
		switch s[i] {
		case '"':
			return b.String(), s[i+1:], nil
		case '\\':
			i++
			if i == len(s) {
				return "", "", errors.New("a backslash at the end")
			}
			if plain, ok := map[byte]byte{'n': '\n', 'r': '\r', 't': '\t', '"': '"', '\\': '\\'}[s[i]]; ok {
				b.WriteByte(plain)
				continue
			}
			if s[i] != 'x' || i+2 >= len(s) {
				return "", "", fmt.Errorf(`\%c is not known`, s[i])
			}
			c, err := strconv.ParseUint(s[i+1:i+3], 16, 8)
			if err != nil {
				return "", "", fmt.Errorf(`\x%s is not a byte`, s[i+1:i+3])
			}
			b.WriteByte(byte(c))
			i += 2
		default:
			if s[i] < ' ' || s[i] > '~' {
				return "", "", fmt.Errorf(`byte %02X stands as it is; write \x%02[1]X`, s[i])
			}
			b.WriteByte(s[i])
		}
	}
	return "", "", errors.New("no closing quotation mark")
}
