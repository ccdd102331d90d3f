package parts

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
)

// Root is the path below which the files of pages are served.
const Root = "/files/"

//go:embed files
var embedded embed.FS

// contentTypes are the kinds of files that are served, by the end of their names. Others, such as
// templates, are not.
var contentTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

// file is a file as it is served.
type file struct {
	content, small []byte // small: in the coding gzip
	kind, tag      string
}

// Files returns the handler of Root: the style sheet and scripts of this package, and those at the
// top of each of the given file systems. A browser keeps a file, and asks each time whether it has
// changed (RFC 9110, section 8.8.3: entity tags). It panics if two files have the same name: the
// files are part of the program.
func Files(more ...fs.FS) http.Handler {
	shared, err := fs.Sub(embedded, "files")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	files := map[string]file{}
	for _, from := range append([]fs.FS{shared}, more...) {
		entries, err := fs.ReadDir(from, ".")
		if err != nil {
			panic(err)
		}
		for _, entry := range entries {
			kind, served := contentTypes[path.Ext(entry.Name())]
			if !served {
				continue
			}
			content, err := fs.ReadFile(from, entry.Name())
			if err != nil {
				panic(err)
			}
			if _, twice := files[entry.Name()]; twice {
				panic("two files of pages are named " + entry.Name())
			}
			files[entry.Name()] = file{content, compressed(content), kind, fmt.Sprintf(`"%x"`, sha256.Sum256(content))}
		}
	}
	return http.StripPrefix(Root, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f, known := files[r.URL.Path]
		if !known {
			http.NotFound(w, r)
			return
		}
		header := w.Header()
		header.Set("Content-Type", f.kind)
		header.Set("ETag", f.tag)
		header.Set("Cache-Control", "no-cache") // kept, and compared each time
		header.Set("Vary", "Accept-Encoding")
		content := f.content
		if takesGzip(r) && r.Header.Get("Range") == "" {
			content = f.small
			header.Set("Content-Encoding", "gzip")
			header.Set("ETag", strings.TrimSuffix(f.tag, `"`)+`-gzip"`) // another form has another tag
		}
		http.ServeContent(w, r, r.URL.Path, time.Time{}, bytes.NewReader(content))
	}))
}
