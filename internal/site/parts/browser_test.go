package parts

import (
	"embed"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"

	"ohmkeep/internal/site/browsertest"
)

//go:embed testdata
var testdata embed.FS

// server is a server of a page that shows every part, and of a feed.
type server struct {
	*httptest.Server
	feed *Feed
	away atomic.Bool // it answers nothing
}

func shown(t *testing.T) *server {
	feed := NewFeed(NewStreams(10, t.Context().Done()), nil)
	files, err := fs.Sub(testdata, "testdata")
	if err != nil {
		t.Fatal(err)
	}
	page := NewPage(testdata, nil, "testdata/shown.html")
	mux := http.NewServeMux()
	mux.Handle("GET "+Root, Files(files))
	mux.Handle("GET /events", feed)
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) {
		page.Write(w, r, http.StatusOK, Head{Title: "Every part", Scripts: []string{"shown.js"}, Program: "1.2.3",
			Links: []Link{{To: "/", Text: "Every part", Here: true}, {To: "/other", Text: "Another page"}}}, nil)
	})
	s := &server{feed: feed}
	s.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s.away.Load() {
			panic(http.ErrAbortHandler)
		}
		mux.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	return s
}

// An event reaches the page, a lost server is shown, and when it is back the page is brought up to
// date by itself.
func TestStreamInBrowser(t *testing.T) {
	b := browsertest.Start(t)
	s := shown(t)
	tab := b.Tab(t, browsertest.Phone)
	tab.Open(s.URL)
	s.feed.Publish("volts", []byte("5.02"))
	t.Logf("an event is shown after %v", tab.Until(`document.querySelector("#volts").textContent == "5.02 V"`))
	if !browsertest.Value[bool](tab, `document.querySelector(".gone").hidden`) {
		t.Error("a server that answers is shown as gone")
	}
	s.away.Store(true)
	s.CloseClientConnections()
	t.Logf("a lost server is shown after %v", tab.Until(`document.querySelector(".gone").checkVisibility()`))
	tab.Picture("gone")
	s.feed.Publish("volts", []byte("4.9"))
	s.away.Store(false)
	t.Logf("a server that is back is found after %v", tab.Until(`document.querySelector(".gone").hidden && document.querySelector("#volts").textContent == "4.9 V"`))
}

// Every part fits every screen, can be pressed with a glove, and breaks no rule of axe-core.
func TestPartsInBrowser(t *testing.T) {
	b := browsertest.Start(t)
	on := shown(t)
	for _, s := range []browsertest.Screen{browsertest.Phone, browsertest.Tablet.InDark(), browsertest.Desk, browsertest.Desk.InDark()} {
		tab := b.Tab(t, s)
		tab.Open(on.URL)
		tab.TooWide("every part")
		tab.SmallTargets("every part")
		tab.Picture("parts")
		if w := tab.Weigh(); w.Bytes > 100_000 || w.Requests > 6 {
			t.Errorf("%+v", w)
		}
	}
}

func TestPartsAreAccessible(t *testing.T) {
	b := browsertest.Start(t)
	on := shown(t)
	for _, s := range []browsertest.Screen{browsertest.Phone, browsertest.Phone.InDark(), browsertest.Desk} {
		tab := b.Tab(t, s)
		tab.Open(on.URL)
		tab.Axe("every part")
	}
}
