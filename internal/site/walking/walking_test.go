package walking

import (
	"bytes"
	"context"
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/guide"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/store"
	"ohmkeep/internal/web/access"
)

// served is a walk with its server, as survey --listen serves it.
type served struct {
	*httptest.Server
	t       *testing.T
	session *guide.Session
	end     func()
}

// serve serves a walk on a session's configuration; reader: visitors may read only.
func serve(t *testing.T, c guide.Config, reader *atomic.Bool) *served {
	t.Helper()
	c.Own = len(c.Run.Meters)
	s := &served{t: t, session: guide.New(c)}
	if err := s.session.Prepare(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	pages := New(Config{Session: s.session, Run: c.Run, Streams: parts.NewStreams(20, ctx.Done()), Program: "test",
		MayWrite: func(r *http.Request) bool {
			return access.VisitorOf(r).MayWrite && (reader == nil || !reader.Load())
		}})
	guard, err := access.New(access.Options{Address: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	s.Server = httptest.NewServer(guard.Handler(pages.Handler(), parts.Root))
	done := make(chan struct{}, 2)
	go func() { s.session.Run(ctx); done <- struct{}{} }()
	go func() { pages.Run(ctx); done <- struct{}{} }()
	ended := false
	s.end = func() {
		if !ended {
			ended = true
			stop()
			<-done
			<-done
			s.CloseClientConnections()
			s.Close()
		}
	}
	t.Cleanup(s.end)
	return s
}

// bench is a simulated run with the meter that the run file names, which share nothing with the fit.
type bench struct {
	run   *run.Run
	plant *plant.Plant
	meter *plant.Meter
	rng   *rand.Rand
	step  string
}

func newBench(r *run.Run) *bench {
	rng := rand.New(rand.NewPCG(8, 8))
	return &bench{run: r, plant: plant.New(r, plant.Plain, rng), meter: plant.NewMeter(r.Meters[0], plant.Plain, rng), rng: rng}
}

// read returns what the meter shows at a place.
func (b *bench) read(at Place) reading.Reading {
	if b.step != at.Step {
		_ = b.plant.Set(b.run.StepIndex(at.Step)) // a sound run can be solved
		b.step = at.Step
	}
	q := run.Voltage
	if at.Quantity == "current" {
		q = run.Current
	}
	x := reading.Reading{Time: time.Now(), Quantity: q}
	b.meter.Read(&x, b.plant.True(q, at.From, at.To), b.rng)
	return x
}

func open(t *testing.T, path string) *store.Store {
	t.Helper()
	s, err := store.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func cornice(t *testing.T) *run.Run { return runtest.Load(t, "../../../testdata/runs/cornice.toml") }

// post sends an order and returns the status and the state that came back.
func (s *served) post(o Order) (status int, state State, fault string) {
	s.t.Helper()
	text, err := json.Marshal(o)
	if err != nil {
		s.t.Fatal(err)
	}
	return s.postText(string(text), s.URL)
}

func (s *served) postText(text, origin string) (status int, state State, fault string) {
	s.t.Helper()
	request, err := http.NewRequest("POST", s.URL+"/walk/do", strings.NewReader(text))
	if err != nil {
		s.t.Fatal(err)
	}
	request.Header.Set("Origin", origin)
	request.Header.Set("Content-Type", "application/json")
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	var body bytes.Buffer
	if _, err := body.ReadFrom(answer.Body); err != nil {
		s.t.Fatal(err)
	}
	if answer.StatusCode == 200 {
		if err := json.Unmarshal(body.Bytes(), &state); err != nil {
			s.t.Fatal(err)
		}
		return answer.StatusCode, state, ""
	}
	var f failure
	if json.Unmarshal(body.Bytes(), &f) == nil && f.State != nil {
		state = *f.State
	}
	return answer.StatusCode, state, f.Error + body.String()
}

// state returns the state once the estimates include every reading.
func (s *served) state() (state State) {
	s.t.Helper()
	s.session.Learned(s.t.Context())
	answer, err := http.Get(s.URL + "/walk/state")
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	if err := json.NewDecoder(answer.Body).Decode(&state); err != nil {
		s.t.Fatal(err)
	}
	return state
}

// A walk by orders alone, from the first to the last reading; each order says what it has seen, and a late one
// changes nothing.
func TestOrders(t *testing.T) {
	r := cornice(t)
	kept := open(t, filepath.Join(t.TempDir(), "walk.store"))
	s := serve(t, guide.Config{Run: r, Store: kept}, nil)
	b := newBench(r)
	state := s.state()
	if state.Schema != 1 || !state.Ready || state.Begun || state.Task != "step" || state.Left == 0 {
		t.Fatalf("%+v", state)
	}
	for n := 0; state.Task != "done" && n < 200; n++ {
		o := Order{Seen: state.Number, Do: "shown", Place: Place{Step: state.Step}}
		if state.Task == "read" {
			x := b.read(state.Place)
			o.Do, o.Place, o.Value, o.Unit = "type", state.Place, strings.Replace(x.Text, ".", ",", 1), x.Unit
		}
		if status, _, fault := s.post(o); status != 200 {
			t.Fatalf("%+v: %d %s", o, status, fault)
		}
		if n == 3 {
			if status, later, fault := s.post(o); status != 409 || later.Number != state.Number+1 || !strings.Contains(fault, "Another device has gone on") {
				t.Errorf("an order that is late: %d, %s", status, fault)
			}
		}
		state = s.state()
	}
	if state.Headline != "Done: everything is settled." || len(state.Results) < 4 {
		t.Errorf("%+v", state)
	}
	stored := 0
	for range kept.Readings(t.Context(), r.Name, store.Filter{}) {
		stored++
	}
	if stored != state.Taken || stored == 0 {
		t.Errorf("%d taken, %d stored", state.Taken, stored)
	}
}

// Leaving out a reading that contradicts withdraws it from the store.
func TestOrderWithdrawsDoubtfulReading(t *testing.T) {
	r := cornice(t)
	kept := open(t, filepath.Join(t.TempDir(), "walk.store"))
	s := serve(t, guide.Config{Run: r, Store: kept}, nil)
	state := s.state()
	_, state, _ = s.post(Order{Seen: state.Number, Do: "shown", Place: Place{Step: state.Step}})
	_, state, fault := s.post(Order{Seen: state.Number, Do: "type", Place: state.Place, Value: "-4.8", Unit: "V"})
	if state.Again == "" || state.Taken != 1 {
		t.Fatalf("%+v %s", state, fault)
	}
	place := state.Place
	if status, state, _ := s.post(Order{Seen: state.Number, Do: "skip", Place: place}); status != 200 || state.Again != "" || state.Taken != 0 || state.Place == place {
		t.Errorf("%d %+v", status, state)
	}
	for x := range kept.Readings(t.Context(), r.Name, store.Filter{}) {
		t.Errorf("%v is in force", x)
	}
}

// What cannot be is refused with a reason, and nothing is stored.
func TestOrdersFromTheWrongSide(t *testing.T) {
	r := cornice(t)
	kept := open(t, filepath.Join(t.TempDir(), "walk.store"))
	var reader atomic.Bool
	s := serve(t, guide.Config{Run: r, Store: kept}, &reader)
	state := s.state()
	s.post(Order{Seen: state.Number, Do: "shown", Place: Place{Step: state.Step}})
	state = s.state()
	for text, want := range map[string]struct {
		status int
		text   string
	}{
		`{"do":"type","place":{"quantity":"voltage","from":"A+","to":"A-","step":"dark"},"value":"4.8a","unit":"V"}`:      {422, "is not a decimal number"},
		`{"do":"type","place":{"quantity":"voltage","from":"A+","to":"A-","step":"dark"},"value":"4.8","unit":"A"}`:       {422, "not given in A"},
		`{"do":"type","place":{"quantity":"voltage","from":"A+","to":"A-","step":"dark"},"value":"400","unit":"V"}`:       {422, "is described for"},
		`{"do":"type","place":{"quantity":"voltage","from":"west.9999+","to":"A-","step":"dark"},"value":"4","unit":"V"}`: {422, "west"},
		`{"do":"type","place":{"quantity":"current","from":"no such","step":"dark"},"value":"4","unit":"A"}`:              {422, "has no feed"},
		`{"do":"type","place":{"quantity":"charm","from":"A+","to":"A-","step":"dark"},"value":"4","unit":"V"}`:           {422, "is no quantity"},
		`{"do":"type","place":{"quantity":"voltage","from":"A+","to":"A-","step":"no step"},"value":"4.8","unit":"V"}`:    {422, "no step is named"},
		`{"do":"dance"}`: {422, "is no order"},
		`{"do":"take"}`:  {422, "shows no value"},
		`{"do":"redo"}`:  {422, "Nothing was undone"},
		`{"do":"note"}`:  {422, "note is empty"},
		`{"do"`:          {400, "not the JSON of an order"},
	} {
		text = strings.Replace(text, `{"do"`, `{"seen":`+string(rune('0'+state.Number))+`,"do"`, 1)
		if status, _, fault := s.postText(text, s.URL); status != want.status || !strings.Contains(fault, want.text) {
			t.Errorf("%s: %d %.200s", text, status, fault)
		}
	}
	good := `{"seen":` + string(rune('0'+state.Number)) + `,"do":"pause"}`
	if status, _, _ := s.postText(good, "http://elsewhere.example"); status != 403 {
		t.Errorf("an order from another site's page: %d", status)
	}
	reader.Store(true)
	if status, _, fault := s.postText(good, s.URL); status != 403 || !strings.Contains(fault, "read only") {
		t.Errorf("an order without the right to write: %d %s", status, fault)
	}
	for range kept.Readings(t.Context(), r.Name, store.Filter{}) {
		t.Error("a reading is stored")
	}
	if now := s.state(); now.Number != state.Number {
		t.Errorf("the walk went on from %d to %d", state.Number, now.Number)
	}
}
