package form

import (
	"fmt"
	"strings"
	"testing"
)

type row struct {
	Name string
	Left *float64
}

type page struct {
	Title, Empty string
	On           bool
	Rows         []row
	None         []row
	Drawn        Markup
	One          *row
}

func TestExecute(t *testing.T) {
	half := 0.5
	data := page{Title: `a<b> & "c" 'd'`, On: true, Rows: []row{{"x", &half}, {"</td>", nil}}, Drawn: "<svg/>", One: &row{Name: "one"}}
	filters := map[string]func(any) string{"value": func(x any) string { return fmt.Sprintf("%.2f", x) }}
	for _, c := range []struct{ text, want string }{
		{"plain", "plain"},
		{`<p title="{{.Title}}">{{.Title}}`, `<p title="a&lt;b&gt; &amp; &#34;c&#34; &#39;d&#39;">a&lt;b&gt; &amp; &#34;c&#34; &#39;d&#39;`},
		{"{{.Drawn}}", "<svg/>"},
		{"{{if .On}}yes{{else}}no{{end}} {{if .Empty}}yes{{else}}no{{end}} {{if not .On}}not{{end}}", "yes no "},
		{"{{with .Empty}}{{.}}{{end}}{{with .One}}{{.Name}}{{$.On}}{{end}}", "onetrue"},
		{`{{or .Empty "no name"}}`, "no name"},
		{"{{range .Rows}}[{{.Name}} {{if .Left}}{{value .Left}}{{else}}-{{end}}]{{end}}{{range .None}}x{{end}}", "[x 0.50][&lt;/td&gt; -]"},
		{"a\n{{- if .On}}\nb\n{{- end}}\nc {{- or .Empty \"d\" -}} \n e", "a\nb\ncde"},
	} {
		var b strings.Builder
		if err := NewHTML(c.text, filters).Execute(&b, data); err != nil || b.String() != c.want {
			t.Errorf("%s: %q, %v; want %q", c.text, b.String(), err, c.want)
		}
	}
	var b strings.Builder
	if err := New("{{.Title}}", nil).Execute(&b, data); err != nil || b.String() != data.Title {
		t.Errorf("%q, %v", b.String(), err)
	}
}

// A text that is wrong, or does not belong to its data, is a fault of the program.
func TestWrong(t *testing.T) {
	for _, text := range []string{"{{.On", "{{if .On}}x", "{{end}}", "x{{else}}y", "{{.Absent}}", "{{absent .On}}", `{{or .Empty "}}`} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s was taken", text)
				}
			}()
			_ = New(text, nil).Execute(&strings.Builder{}, page{})
		}()
	}
}
