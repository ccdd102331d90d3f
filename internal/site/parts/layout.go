package parts

import (
	"bytes"
	_ "embed"
	"html/template"
	"io/fs"
	"net/http"
	"strconv"

	"ohmkeep/internal/web/access"
)

//go:embed layout.html
var layoutText string

// Head is what a page says of itself.
type Head struct {
	Title           string
	Styles, Scripts []string // names of files below Root, beside those of this package
	Links           []Link   // to the other pages of the same server
	Program         string   // version of the program; "" is left out
}

// Link leads to another page.
type Link struct {
	To, Text string
	Here     bool // it is the page that is shown
}

// Page is a kind of page: the layout with a template of its own. Its Write may be called from any
// goroutine.
type Page struct{ layout *template.Template }

// NewPage returns the page whose file defines the template "main"; more files may define templates
// that it uses. It panics if a file cannot be parsed: the files are part of the program.
func NewPage(files fs.FS, funcs template.FuncMap, name ...string) *Page {
	layout := template.Must(template.New("layout").Funcs(funcs).Parse(layoutText))
	return &Page{template.Must(layout.ParseFS(files, name...))}
}

// Write writes the page as the response to a request, with a status code. If the template fails,
// the response is a plain error with the status 500; an error of the connection is ignored, because
// the client is gone.
func (p *Page) Write(w http.ResponseWriter, r *http.Request, status int, head Head, data any) {
	var b bytes.Buffer
	err := p.layout.Execute(&b, struct {
		Head Head
		Root string
		Data any
	}{head, Root, data})
	if err != nil {
		http.Error(w, "this page cannot be made: "+err.Error(), http.StatusInternalServerError)
		return
	}
	header := w.Header()
	header.Set("Content-Type", "text/html; charset=utf-8")
	header.Set("Content-Security-Policy", access.Policy)
	header.Set("Vary", "Accept-Encoding")
	content := b.Bytes()
	if takesGzip(r) {
		content = compressed(content)
		header.Set("Content-Encoding", "gzip")
	}
	header.Set("Content-Length", strconv.Itoa(len(content)))
	w.WriteHeader(status)
	_, _ = w.Write(content)
}
