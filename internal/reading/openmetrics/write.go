package openmetrics

import (
	"bufio"
	"io"
	"strings"
)

// Writer writes families of gauges. After the first error it writes nothing; Close returns that
// error.
type Writer struct {
	to     *bufio.Writer
	family string
	line   []byte
}

// NewWriter writes to w; Close ends it.
func NewWriter(w io.Writer) *Writer { return &Writer{to: bufio.NewWriterSize(w, 1<<16)} }

// Family begins a family. Its name ends in its unit, as the specification requires.
func (w *Writer) Family(name, unit, help string) {
	w.family = name
	for _, head := range [][2]string{{"TYPE", "gauge"}, {"UNIT", unit}, {"HELP", escape(help)}} {
		_, _ = w.to.WriteString("# " + head[0] + " " + name + " " + head[1] + "\n")
	}
}

// Series writes the samples' labels once for all that follow until the next call. Labels
// without a value are left out.
func (w *Writer) Series(labels []Label) *Series {
	s := &Series{w: w, head: []byte(w.family)}
	before := byte('{')
	for _, l := range labels {
		if l.Value == "" {
			continue
		}
		s.head = append(append(s.head, before), l.Name...)
		s.head = append(append(s.head, `="`...), escape(l.Value)...)
		s.head = append(s.head, '"')
		before = ','
	}
	if before == ',' {
		s.head = append(s.head, '}')
	}
	s.head = append(s.head, ' ')
	return s
}

// Series is what samples with the same labels have in common.
type Series struct {
	w    *Writer
	head []byte
}

// Sample writes one sample: a decimal number and its time in ns since 1970.
func (s *Series) Sample(value string, at int64) {
	b := append(append(s.w.line[:0], s.head...), value...)
	b = append(appendSeconds(append(b, ' '), at), '\n')
	_, _ = s.w.to.Write(b)
	s.w.line = b
}

// Close ends the text.
func (w *Writer) Close() error {
	_, _ = w.to.WriteString("# EOF\n")
	return w.to.Flush()
}

// escape writes a label's value or a help text: the format knows backslash, quotation
// mark and line feed.
var escape = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`).Replace
