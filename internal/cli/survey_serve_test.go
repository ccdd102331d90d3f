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
	s.do(`ohmkeep survey shelf.toml --store shelf.db --open`).refused("need --listen")
	s.do(`ohmkeep survey --store shelf.db --listen 127.0.0.1:0 --find`).refused("--find wants RUN")
}

// The page begins another walk with --again, as a terminal does.
func TestSurveyServedAgain(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.answer("\n5.083\n", `ohmkeep survey shelf.toml --all --step dark --store shelf.db`).exits(Passes)
	addr := s.freeAddress()
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, split("survey shelf.toml --all --step dark --store shelf.db --again --listen "+addr), strings.NewReader(""), io.Discard, io.Discard)
	}()
	defer func() { stop(); <-ended }()
	for begun, text := time.Now(), ""; !strings.Contains(text, `"number":4,`) || !strings.Contains(text, `"taken":0,`); time.Sleep(5 * time.Millisecond) {
		if _, text = fetch(t, "GET", "http://"+addr+"/walk/state", "", ""); time.Since(begun) > 20*time.Second {
			t.Fatalf("no other walk begins: %s", text)
		}
	}
}

// Without a run the page describes one, writes its file into this folder, never over another, and the
// walk begins.
func TestSurveyWithoutRun(t *testing.T) {
	s := newSession(t)
	s.write("taken.toml", shelf)
	s.do(`ohmkeep survey --store new.db`).refused("wants RUN, not 0 arguments")
	// What would otherwise be found only once the run is described.
	s.do(`ohmkeep survey --store no/such.db --listen 127.0.0.1:0`).refused("its directory does not exist")
	s.do(`ohmkeep survey --store taken.toml --listen 127.0.0.1:0`).refused("taken.toml")
	s.do(`ohmkeep survey --store new.db --listen 127.0.0.1:0 --since yesterday`).refused("--since")
	s.do(`ohmkeep survey --store new.db --listen 127.0.0.1:0 --step dark`).refused("--step wants RUN")
	addr := s.freeAddress()
	ctx, stop := context.WithCancel(t.Context())
	said := &watchtest.Log{}
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, split("survey --store new.db --listen "+addr), strings.NewReader(""), io.Discard, said)
	}()
	defer func() { stop(); <-ended }()
	at, page := "http://"+addr, ""
	for begun := time.Now(); !strings.Contains(page, "Length of each reel"); time.Sleep(5 * time.Millisecond) {
		if _, page = fetch(t, "GET", at+"/walk", "", ""); time.Since(begun) > time.Minute {
			t.Fatalf("%s\n%s", page, said)
		}
	}
	for _, c := range []struct {
		path, body string
		status     int
		text       string
	}{
		{"/new/check", `{"answers":{"reels":"3,x"}}`, 200, `is not a length`},
		{"/new/check", `{"answers":{"reels":"3,4","fed":"both"}}`, 200, "joint R1-R2"},
		{"/new/write", `{"answers":{"reels":"3,x"}}`, 422, "is not a length"},
		{"/new/write", `{"file":"taken.toml"}`, 422, "there already"},
		{"/new/write", `{"file":"../up.toml"}`, 422, "is not the name of a run file in this folder"},
		{"/new/write", `{"file":"page.html"}`, 422, "is not the name of a run file in this folder"},
		{"/new/write", `{"answers":{"name":"Wine rack","reels":"3,4"}}`, 200, `"file":"wine-rack.toml","to":"/walk"`},
	} {
		if status, text := fetch(t, "POST", at+c.path, at, c.body); status != c.status || !strings.Contains(text, c.text) {
			t.Errorf("%s %s: %d %.300s", c.path, c.body, status, text)
		}
	}
	if status, _ := fetch(t, "POST", at+"/new/write", "http://elsewhere.example", `{}`); status != 403 {
		t.Errorf("another site's page: %d", status)
	}
	for begun, text := time.Now(), ""; !strings.Contains(text, `"ready":true`); time.Sleep(5 * time.Millisecond) {
		if _, text = fetch(t, "GET", at+"/walk/state", "", ""); time.Since(begun) > time.Minute {
			t.Fatalf("no walk begins: %s", text)
		}
	}
	// Another device that is still on the page of the questions.
	if status, text := fetch(t, "POST", at+"/new/write", at, `{"answers":{"name":"Other rack"}}`); status != 409 || !strings.Contains(text, `{"error":"Another device has described the run`) {
		t.Errorf("%d %s", status, text)
	}
	if _, text := fetch(t, "GET", at+"/new", "", ""); !strings.Contains(text, "Wine rack") {
		t.Errorf("the questions lead to %s", text)
	}
	s.do(`ohmkeep predict wine-rack.toml`).exits(Passes)
	if s.content("taken.toml") != shelf {
		t.Error("a file was replaced")
	}
}

// The watch has the walk beside its own pages, with the same store.
func TestWalkInWatch(t *testing.T) {
	s := newParallelSession(t)
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
	if _, text := w.ask("GET", "/events", ""); !strings.Contains(text, "a walk along the run began") || strings.Contains(text, "&#34;kind&#34;") || strings.Contains(text, "{") {
		t.Errorf("what happened: %s", text)
	}
}
