package parts

import (
	"compress/gzip"
	"html/template"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"
)

var example = fstest.MapFS{
	"example.html": {Data: []byte(`{{define "main"}}<h1>{{.Name}}</h1>{{end}}`)},
	"example.js":   {Data: []byte("export {};\n")},
	"secret.txt":   {Data: []byte("not a file of a page")},
}

// A file is sent once: a browser that has it is answered 304 until it changes. What is no style
// sheet, script or picture is not served.
func TestFiles(t *testing.T) {
	files := Files(example)
	get := func(path, tag string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		r := httptest.NewRequest("GET", path, nil)
		if tag != "" {
			r.Header.Set("If-None-Match", tag)
		}
		files.ServeHTTP(w, r)
		return w
	}
	for name, kind := range map[string]string{"parts.css": "text/css; charset=utf-8", "stream.js": "text/javascript; charset=utf-8",
		"example.js": "text/javascript; charset=utf-8", "mark.svg": "image/svg+xml"} {
		first := get(Root+name, "")
		tag := first.Header().Get("ETag")
		if first.Code != 200 || first.Header().Get("Content-Type") != kind || tag == "" || first.Header().Get("Cache-Control") != "no-cache" {
			t.Errorf("%s: %d %v", name, first.Code, first.Header())
		}
		if again := get(Root+name, tag); again.Code != 304 || again.Body.Len() != 0 {
			t.Errorf("%s again: %d, %d bytes", name, again.Code, again.Body.Len())
		}
		if changed := get(Root+name, `"another"`); changed.Code != 200 {
			t.Errorf("%s with another tag: %d", name, changed.Code)
		}
	}
	for _, path := range []string{Root, Root + "secret.txt", Root + "example.html", Root + "../doc.go", Root + "files/parts.css"} {
		if w := get(path, ""); w.Code != 404 {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
}

// A page has the layout around its own part, with its texts escaped, and the strict policy.
func TestPage(t *testing.T) {
	page := NewPage(example, nil, "example.html")
	w := httptest.NewRecorder()
	page.Write(w, httptest.NewRequest("GET", "/", nil), http.StatusOK, Head{Title: "A <b> run", Styles: []string{"example.css"}, Scripts: []string{"example.js"},
		Links: []Link{{To: "/", Text: "Run", Here: true}, {To: "/walk", Text: "Walk"}}, Program: "1.2.3"}, struct{ Name string }{`<script>alert("x")</script>`})
	text := w.Body.String()
	for _, want := range []string{"<title>A &lt;b&gt; run</title>", `<script type="module" src="/files/example.js"></script>`, `href="/files/parts.css"`,
		`<a href="/" aria-current="page">Run</a>`, `<a href="/walk">Walk</a>`, "<h1>&lt;script&gt;", "ohmkeep 1.2.3"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
	if policy := w.Header().Get("Content-Security-Policy"); strings.Contains(policy, "unsafe") || !strings.HasPrefix(policy, "default-src 'none'") {
		t.Error(policy)
	}
	if strings.Contains(text, "style=") || strings.Contains(text, "<style") {
		t.Error("the layout has a style of its own, which the policy forbids")
	}
	broken := NewPage(example, template.FuncMap{}, "example.html")
	w = httptest.NewRecorder()
	if broken.Write(w, httptest.NewRequest("GET", "/", nil), http.StatusOK, Head{}, 1); w.Code != 500 {
		t.Errorf("a template that fails: %d", w.Code)
	}
}

// A client that takes gzip gets it, with the same content, and with another tag.
func TestCompression(t *testing.T) {
	page := NewPage(example, nil, "example.html")
	handlers := map[string]http.Handler{
		Root + "parts.css": Files(example),
		"/": http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			page.Write(w, r, http.StatusOK, Head{Title: "t"}, struct{ Name string }{"n"})
		}),
	}
	for path, h := range handlers {
		answers := map[string]*httptest.ResponseRecorder{}
		for _, accept := range []string{"", "gzip;q=0", "br", "deflate, gzip;q=1.0"} {
			w, r := httptest.NewRecorder(), httptest.NewRequest("GET", path, nil)
			r.Header.Set("Accept-Encoding", accept)
			h.ServeHTTP(w, r)
			if coded := w.Header().Get("Content-Encoding") == "gzip"; coded != strings.Contains(accept, "gzip;q=1") || w.Header().Get("Vary") != "Accept-Encoding" {
				t.Errorf("%s, %q: %v", path, accept, w.Header())
			}
			answers[accept] = w
		}
		plain, small := answers[""], answers["deflate, gzip;q=1.0"]
		tag, size := small.Header().Get("ETag"), small.Body.Len()
		if tag != "" && tag == plain.Header().Get("ETag") || size >= plain.Body.Len() {
			t.Errorf("%s: tag %s, %d bytes for %d", path, tag, size, plain.Body.Len())
		}
		unpacked, err := gzip.NewReader(small.Body)
		if err != nil {
			t.Fatal(err)
		}
		if text, err := io.ReadAll(unpacked); err != nil || string(text) != plain.Body.String() {
			t.Errorf("%s: %v, not the same", path, err)
		}
	}
}
