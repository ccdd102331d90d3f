package parts

import (
	"bytes"
	"compress/gzip"
	"net/http"
	"strings"
)

// compressed returns content in the coding gzip (RFC 9110, section 8.4.1.3). Pages hold no secret
// beside what a visitor has sent, so that their length tells nothing.
func compressed(content []byte) []byte {
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	if err != nil {
		panic(err) // the level is one of the package's
	}
	_, _ = w.Write(content) // a buffer takes everything
	_ = w.Close()
	return b.Bytes()
}

// takesGzip reports whether a client takes the coding gzip.
func takesGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		coding, weight, _ := strings.Cut(strings.TrimSpace(part), ";")
		if strings.EqualFold(coding, "gzip") {
			return strings.TrimSpace(weight) != "q=0"
		}
	}
	return false
}
