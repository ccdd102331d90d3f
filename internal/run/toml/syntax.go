package toml

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"sort"

	"github.com/pelletier/go-toml/v2/unstable"

	"ohmkeep/internal/fault"
)

// mostSyntaxFaults is the number of syntax faults after which reading ends.
const mostSyntaxFaults = 20

// beginning matches a line that can begin an expression: a header, or a key and an equals sign.
// After a line that is not TOML, reading continues at the next match.
var beginning = regexp.MustCompile(`^[ \t]*(\[\[?[ \t]*[\w"'][^=,]*\]|[\w."' \t-]+=)`)

// header matches a line meant as a table's header, key a line meant to set a key.
var (
	header = regexp.MustCompile(`^[ \t]*\[`)
	key    = regexp.MustCompile(`^[ \t]*([\w-]+)[ \t]*=`)
)

// source finds lines in the bytes of a file.
type source struct {
	data   []byte
	starts []int // offset of each line's first byte
}

func newSource(data []byte) source {
	s := source{data: data, starts: []int{0}}
	for i, b := range data {
		if b == '\n' {
			s.starts = append(s.starts, i+1)
		}
	}
	return s
}

// line returns the number, from 1, of the line that holds an offset.
func (s source) line(offset int) int { return sort.SearchInts(s.starts, offset+1) }

// text returns a line without its end.
func (s source) text(line int) []byte {
	rest := s.data[s.starts[line-1]:]
	if end := bytes.IndexByte(rest, '\n'); end >= 0 {
		rest = rest[:end]
	}
	return bytes.TrimSuffix(rest, []byte("\r"))
}

// next returns the first line after the given one that holds more than a comment.
func (s source) next(line int) int {
	for line++; line < len(s.starts); line++ {
		if t := bytes.TrimLeft(s.text(line), " \t"); len(t) > 0 && t[0] != '#' {
			break
		}
	}
	return min(line, len(s.starts))
}

// Parse reads a file's bytes into its root table. The file's name is for messages.
func Parse(file string, src []byte) *Table {
	d := &document{file: file, reported: map[fault.Fault]bool{}}
	root := d.newTable("", 0)
	d.root, d.current = root, root
	src = bytes.TrimPrefix(src, []byte("\uFEFF"))
	d.source = newSource(src)

	var parser unstable.Parser
	for from, faults := 0, 0; ; {
		base := d.starts[from]
		parser.Reset(src[base:])
		last := from // the line, from 1, that the last good expression ended on
		for parser.NextExpression() {
			last = d.expression(parser.Expression(), base)
		}
		err := parser.Error()
		if err == nil {
			return root
		}
		faults++
		from = d.broken(err, &parser, base, d.next(last)) - 1
		if from >= len(d.starts) {
			return root
		}
		if faults == mostSyntaxFaults {
			d.faults.Add(fault.Fault{File: file, Line: from + 1, Text: "too many lines are not TOML; the rest was not read"})
			return root
		}
	}
}

// broken reports an expression that is not TOML and returns the line at which reading
// continues.
func (d *document) broken(err error, parser *unstable.Parser, base, start int) int {
	f := fault.Fault{File: d.file, Line: start, Text: err.Error()}
	var at *unstable.ParserError
	if errors.As(err, &at) && len(at.Highlight) > 0 {
		offset := base + int(parser.Range(at.Highlight).Offset)
		f.Hint = d.advice(offset)
		if noticed := d.line(offset); noticed > start {
			f.Hint = fmt.Sprintf("begun here and not right by line %d", noticed)
		} else if noticed < start { // a comment, which next skips
			f.Line, start = noticed, noticed
		}
	}
	line := d.text(start)
	d.current.damaged = true
	if header.Match(line) {
		// The table of the next lines is not known, so missing keys cannot be reported.
		d.damaged = true
		d.current = d.newTable("", start)
	} else if m := key.FindSubmatch(line); m != nil {
		name := string(m[1])
		f.Key = d.current.name(name)
		d.current.put(name, value{line: start})
	}
	d.syntax = true
	d.faults.Add(f)
	for start++; start <= len(d.starts) && !beginning.Match(d.text(start)); start++ {
	}
	return start
}

// advice returns a hint for the byte at which the parser stopped; "" for none.
func (d *document) advice(offset int) string {
	line := d.text(d.line(offset))
	before := bytes.TrimRight(line[:min(len(line), offset-d.starts[d.line(offset)-1])], " \t")
	if bytes.HasSuffix(before, []byte("=")) {
		return "a text is set in quotation marks, a number is written with a decimal point"
	}
	if !bytes.Contains(line, []byte("=")) && !header.Match(line) {
		return "a line is key = value, a [header], or a # comment"
	}
	return ""
}
