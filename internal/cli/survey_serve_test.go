package cli

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

// fetch returns the status and the text of a request; origin is that of the page which sends it.
func fetch(t *testing.T, method, url, origin, body string) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if origin != "" {
		r.Header.Set("Origin", origin)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, ""
	}
	defer answer.Body.Close()
	text, _ := io.ReadAll(answer.Body) // what has arrived
	return answer.StatusCode, string(text)
}

// A walk that began on the page goes on at a terminal, and an interrupt ends the page.
func TestSurveyServed(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	addr := s.freeAddress()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	said := &watchtest.Log{}
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, split("survey shelf.toml --all --step dark --store shelf.db --listen "+addr), strings.NewReader(""), io.Discard, said)
	}()
	until := func(what string, path, want string) {
		t.Helper()
		for begun := time.Now(); ; time.Sleep(5 * time.Millisecond) {
			_, text := fetch(t, "GET", "http://"+addr+path, "", "")
			if strings.Contains(text, want) {
				return
			}
			if time.Since(begun) > time.Minute {
				t.Fatalf("%s: %s\n%s", what, text, said)
			}
		}
	}
	until("ready", "/walk/state", `"ready":true`)
	if _, page := fetch(t, "GET", "http://"+addr+"/", "", ""); !strings.Contains(page, "Book shelf") {
		t.Errorf("the page: %s", page)
	}
	for i, order := range []string{
		`{"seen":0,"do":"shown","place":{"step":"dark"}}`,
		`{"seen":2,"do":"type","place":{"quantity":"voltage","from":"A+","to":"A-","step":"dark"},"value":"5.083","unit":"V"}`,
	} {
		if status, text := fetch(t, "POST", "http://"+addr+"/walk/do", "http://"+addr, order); status != 200 {
			t.Fatalf("order %d: %d %s", i, status, text)
		}
	}
	stop()
	select {
	case <-ended:
	case <-time.After(10 * time.Second):
		t.Fatal("an interrupt does not end it")
	}
	if want := "walk: http://" + addr + "/walk\n"; !strings.Contains(said.String(), want) {
		t.Errorf("says %s", said)
	}
	s.answer("", `ohmkeep survey shelf.toml --all --step dark --store shelf.db`).exits(Passes).says("The walk goes on: 1 taken, 7 left")
	s.do(`ohmkeep survey shelf.toml --store shelf.db --listen 0.0.0.0:0`).refused("--token-file")
}

// The watch has the walk beside its own pages, with the same store.
func TestWalkInWatch(t *testing.T) {
	s := newSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	w := s.watch()
	w.until("the walk", func() bool { _, text := w.ask("GET", "/walk/state", ""); return strings.Contains(text, `"ready":true`) })
	if status, text := w.ask("GET", "/walk", ""); status != 200 || !strings.Contains(text, `href="/walk" aria-current="page"`) {
		t.Errorf("%d %s", status, text)
	}
	if _, text := w.ask("GET", "/", ""); !strings.Contains(text, `href="/walk"`) {
		t.Error("the watch's page does not lead to the walk")
	}
	for _, file := range []string{"/files/walk.js", "/files/walk.css", "/files/watched.js", "/files/parts.css", "/files/stream.js"} {
		if status, _ := w.ask("GET", file, ""); status != 200 {
			t.Errorf("%s: %d", file, status)
		}
	}
	_, text := w.ask("GET", "/walk/state", "")
	step := text[strings.Index(text, `"step":"`)+len(`"step":"`):]
	step = step[:strings.IndexByte(step, '"')]
	order := fmt.Sprintf(`{"seen":0,"do":"shown","place":{"step":%q}}`, step)
	if status, text := fetch(t, "POST", "http://"+w.addr+"/walk/do", "http://elsewhere.example", order); status != 403 {
		t.Errorf("another site's page: %d %s", status, text)
	}
	if status, text := fetch(t, "POST", "http://"+w.addr+"/walk/do", "http://"+w.addr, order); status != 200 || !bytes.Contains([]byte(text), []byte(`"number":2`)) {
		t.Errorf("%d %s", status, text)
	}
}
