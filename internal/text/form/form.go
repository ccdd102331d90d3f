// Package form fills texts that have gaps, such as a page, from values.
//
// The language is the part of that of Go's own templates which the program's texts
// use: {{.Name}}, {{.}} and {{$.Name}}; if, with and range with else and end; a
// function before its operand, {{or .Name "none"}}; and {{- -}}. It is here because the library
// calls methods by names that are only known when it runs, for which the linker keeps
// every method of the program: 2.9 MB. A form reads fields and nothing else.
package form

import (
	"fmt"
	"html"
	"io"
	"reflect"
	"strconv"
	"strings"
)

// Form is a text with gaps. It may be filled by several goroutines at once.
type Form struct {
	nodes   []node
	escape  func(string) string
	filters map[string]func(any) string
}

// Markup is text that goes into HTML as it is.
type Markup string

// node is a piece of text, a gap, or a block.
type node struct {
	text         string // where verb is ""
	verb         string // "text", "put", "if", "with" or "range"
	terms        []string
	body, orElse []node
}

// New takes a text apart whose gaps are filled as they are; filters are the functions
// that it names. A text that is wrong is a fault of the program, which panics.
func New(text string, filters map[string]func(any) string) *Form {
	f := &Form{escape: func(s string) string { return s }, filters: filters}
	rest := tokens(text)
	var by string
	if f.nodes, rest, by = block(rest); by != "" || len(rest) > 0 {
		panic("form: an end too many")
	}
	return f
}

// NewHTML is New for HTML, where gaps stand in text and in quoted attributes.
func NewHTML(text string, filters map[string]func(any) string) *Form {
	f := New(text, filters)
	f.escape = html.EscapeString
	return f
}

// tokens gives text and gaps in turn, without the blanks that a gap's - takes away.
func tokens(text string) []node {
	var all []node
	trim := false
	for text != "" {
		before, rest, gap := strings.Cut(text, "{{")
		inside, after, closed := strings.Cut(rest, "}}")
		if gap && !closed {
			panic("form: a gap has no end: " + rest)
		}
		if trim {
			before = strings.TrimLeft(before, " \t\r\n")
		}
		if strings.HasPrefix(inside, "- ") {
			before, inside = strings.TrimRight(before, " \t\r\n"), inside[2:]
		}
		if trim = strings.HasSuffix(inside, " -"); trim {
			inside = inside[:len(inside)-2]
		}
		all = append(all, node{verb: "text", text: before})
		if gap {
			all = append(all, node{terms: words(inside)})
		}
		text = after
	}
	return all
}

// words parts what stands in a gap at blanks that are not within quotation marks.
func words(s string) []string {
	quoted := false
	return strings.FieldsFunc(s, func(r rune) bool {
		if r == '"' {
			quoted = !quoted
		}
		return r == ' ' && !quoted
	})
}

// block takes nodes up to the end or else of the block that it is in.
func block(all []node) (nodes, rest []node, ended string) {
	for len(all) > 0 {
		n := all[0]
		all = all[1:]
		if n.verb == "text" {
			nodes = append(nodes, n)
			continue
		}
		switch word := n.terms[0]; word {
		case "end", "else":
			return nodes, all, word
		case "if", "with", "range":
			n.verb, n.terms = word, n.terms[1:]
			var by string
			if n.body, all, by = block(all); by == "else" {
				n.orElse, all, by = block(all)
			}
			if by != "end" {
				panic("form: a block has no end")
			}
		default:
			n.verb = "put"
		}
		nodes = append(nodes, n)
	}
	return nodes, nil, ""
}

// Execute writes the form with its gaps filled from data, a struct. A gap without a
// value panics: the form and its data belong together.
func (f *Form) Execute(w io.Writer, data any) error {
	var b strings.Builder
	root := reflect.ValueOf(data)
	f.fill(&b, f.nodes, root, root)
	_, err := io.WriteString(w, b.String())
	return err
}

func (f *Form) fill(b *strings.Builder, nodes []node, root, dot reflect.Value) {
	for _, n := range nodes {
		if n.verb == "text" {
			b.WriteString(n.text)
			continue
		}
		v := f.value(n.terms, root, dot)
		switch {
		case n.verb == "put":
			f.put(b, v)
		case !truth(v):
			f.fill(b, n.orElse, root, dot)
		case n.verb == "if":
			f.fill(b, n.body, root, dot)
		case n.verb == "with":
			f.fill(b, n.body, root, v)
		default:
			for i := range v.Len() {
				f.fill(b, n.body, root, v.Index(i))
			}
		}
	}
}

// value gives what the words of a gap mean.
func (f *Form) value(terms []string, root, dot reflect.Value) reflect.Value {
	first := terms[0]
	switch {
	case first == "not":
		return reflect.ValueOf(!truth(f.value(terms[1:], root, dot)))
	case first == "or":
		if v := f.value(terms[1:2], root, dot); truth(v) {
			return v
		}
		return f.value(terms[2:], root, dot)
	case first[0] == '"':
		s, err := strconv.Unquote(first)
		if err != nil {
			panic("form: " + first)
		}
		return reflect.ValueOf(s)
	case first[0] == '$':
		return field(root, first[1:])
	case first[0] == '.':
		return field(dot, first)
	}
	filter := f.filters[first]
	if filter == nil {
		panic("form: there is no " + first)
	}
	return reflect.ValueOf(filter(reflect.Indirect(f.value(terms[1:], root, dot)).Interface()))
}

// field gives a field by its name behind a point, or for a point alone the value.
func field(v reflect.Value, name string) reflect.Value {
	if name == "." {
		return v
	}
	found := reflect.Indirect(v).FieldByName(name[1:])
	if !found.IsValid() {
		panic("form: there is no field " + name)
	}
	return found
}

// truth tells whether there is something: no zero value and nothing empty.
func truth(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice:
		return v.Len() > 0
	case reflect.Struct:
		return true
	}
	return !v.IsZero()
}

func (f *Form) put(b *strings.Builder, v reflect.Value) {
	x := reflect.Indirect(v).Interface()
	if ready, ok := x.(Markup); ok {
		b.WriteString(string(ready))
		return
	}
	b.WriteString(f.escape(fmt.Sprint(x)))
}
