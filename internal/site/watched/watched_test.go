package watched

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/store"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/servertest"
)

// served serves the pages of an invented watch, to one that may write.
func served(t *testing.T, w *invented) *httptest.Server {
	t.Helper()
	s := httptest.NewServer(guarded(t, w))
	t.Cleanup(func() { close(w.done); s.CloseClientConnections(); s.Close() })
	return s
}

// guarded returns the pages of an invented watch behind its doors.
func guarded(t *testing.T, w *invented) http.Handler {
	t.Helper()
	guard, err := access.New(access.Options{Address: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	return guard.Handler(New(w, w, Options{Streams: parts.NewStreams(4, w.done), Note: w.Note, Program: "1.2.3", Now: func() time.Time { return midnight }}))
}

func get(t *testing.T, s *httptest.Server, path string) (int, string) {
	t.Helper()
	return answer(t, func() (*http.Response, error) { return http.Get(s.URL + path) })
}

var svg = regexp.MustCompile(`(?s)<svg .*?</svg>`)

// has fails the test where a page lacks one of several texts, or has one that follows "!".
func has(t *testing.T, text string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		if forbidden, not := strings.CutPrefix(part, "!"); not && strings.Contains(text, forbidden) || !not && !strings.Contains(text, part) {
			t.Errorf("%q in\n%s", part, svg.ReplaceAllString(text, "<svg>"))
			return
		}
	}
}

// The page of the run has what needs doing first, then the run as it hangs with every value and
// interval, live values with their units, the elements, events and forms. Texts of devices and
// people do not become part of the page.
func TestHome(t *testing.T) {
	s := served(t, invent())
	code, text := get(t, s, "/")
	if code != 200 {
		t.Fatal(code)
	}
	has(t, text, "<b>LOOK</b> joint west-north is drifting", "Joint west-north: 16.0 mΩ, over its limit of 15.0 mΩ", "Disconnect the supply from the mains before soldering.",
		"16.0 mΩ fail", "15.5 … 17.2", "104.9 mΩ pass", `href="element?kind=joint&amp;name=west-north"`, "Last check in a known step: ",
		"Voltage from west.start&#43; to west.start-", ">5.020 V<", ">none yet<", "not connected", `<option selected>white 5 %</option>`, "Note a repair",
		"unplugged &lt;b&gt;", "!unplugged <b>", `href="live"`, "<b>WATCHING</b>", "no good current reading yet", "!<style", "!style=")
	if order := []int{strings.Index(text, "What needs doing"), strings.Index(text, "The run as it hangs"), strings.Index(text, "Volts and amps now"), strings.Index(text, "Every element")}; order[0] < 0 || order[1] < order[0] || order[2] < order[1] || order[3] < order[2] {
		t.Errorf("the order of the page: %v", order)
	}
}

// A page that is made while an analysis ends is made again, and its picture is not kept.
func TestChangedMeanwhile(t *testing.T) {
	w := invent()
	s := served(t, w)
	w.set(func() {
		later := *w.history
		later.Series = later.Series[:1]
		w.later, w.looks = &later, 2 // the revision, and then what the page shows
	})
	_, before := get(t, s, "/")
	_, live := get(t, s, "/live")
	shown, present := regexp.MustCompile(`data-revision="(\d+)"`).FindStringSubmatch(before), regexp.MustCompile(`"revision":(\d+)`).FindStringSubmatch(live)
	if !strings.Contains(before, "15.5 … 17.2") || shown == nil || present == nil || shown[1] == present[1] {
		t.Errorf("the page has revision %v of %v", shown, present)
	}
	if _, after := get(t, s, "/"); strings.Contains(after, "15.5 … 17.2") {
		t.Error("the page shows what was before the analysis")
	}
}

// What was read by hand at the commissioning stands for elements that are not followed yet, with
// its date, until a later note concerns it.
func TestReadByHand(t *testing.T) {
	w := invent()
	w.run, w.hand = showtest.Example(t, "commissioning")
	newest := midnight
	for i := range w.hand {
		w.hand[i].Time = midnight.Add(time.Duration(i) * time.Second)
		newest = w.hand[i].Time
	}
	w.history = nil
	s := served(t, w)
	var text string
	for begun := time.Now(); !strings.Contains(text, "read by hand"); time.Sleep(10 * time.Millisecond) {
		if _, text = get(t, s, "/"); time.Since(begun) > 20*time.Second {
			t.Fatal(text)
		}
	}
	a := showtest.Commissioning(t)
	for _, e := range a.Elements {
		if e.Rail == run.Loop && e.Verdict == "fail" {
			has(t, text, "<b>LOOK</b> over its limit: ", wording.Label(e), wording.LineOf(e).Value+" "+wording.LineOf(e).Unit+" fail", "Disconnect the supply")
			w.set(func() {
				w.notes = []store.Mark{{Time: newest.Add(time.Hour), Kind: store.MarkNote, Text: "re-made " + wording.Label(e)}}
			})
			_, text = get(t, s, "/")
			has(t, text, "!"+wording.LineOf(e).Value+" "+wording.LineOf(e).Unit+" fail</td>", "!over its limit: "+wording.Label(e), "worked on since it was read by hand")
			return
		}
	}
	t.Fatal("nothing fails in the example")
}

// A run of sixty reels with years of nights is shown within the weight of a page, and quickly.
func TestLargeRun(t *testing.T) {
	w := invent()
	w.run = &run.Run{Name: "Tower", Supplies: w.run.Supplies}
	var nights []history.Night
	for i := range 3650 {
		nights = append(nights, history.Night{Time: midnight.AddDate(0, 0, i-3650), Ohms: 0.005 + 0.001*math.Sin(float64(i)), Error: 0.001})
	}
	w.history = &history.History{Last: midnight}
	follow := func(kind run.Kind, name string) {
		w.history.Series = append(w.history.Series, history.Series{Kind: kind, Name: name, First: nights[0].Time, Last: midnight, Ohms: 0.005, Low: 0.004, High: 0.006,
			Limit: 0.015, PerYear: 0.0001, PerYearLow: -0.001, PerYearHigh: 0.001, Verdict: history.Steady, Nights: nights})
	}
	for i := range 60 {
		name := fmt.Sprintf("reel%d", i)
		w.run.Reels = append(w.run.Reels, run.Reel{Name: name, Pixels: 300, Follows: i - 1, Strip: run.Strip{PixelsPerMetre: 60}})
		follow(run.KindReel, name)
		if i > 0 {
			w.run.Joints = append(w.run.Joints, run.Joint{Name: fmt.Sprintf("reel%d-reel%d", i-1, i), From: i - 1, To: i})
			follow(run.KindJoint, w.run.Joints[i-1].Name)
		}
	}
	s := served(t, w)
	for path, most := range map[string]time.Duration{"/": 20 * time.Second, "/element?kind=joint&name=reel3-reel4": 20 * time.Second} {
		for _, which := range []string{"first", "second"} {
			begun := time.Now()
			request, err := http.NewRequest("GET", s.URL+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			request.Header.Set("Accept-Encoding", "gzip") // and so the client does not unpack it
			code, text := answer(t, func() (*http.Response, error) { return http.DefaultClient.Do(request) })
			took := time.Since(begun)
			if code != 200 || len(text) > 200_000 || took > most {
				t.Errorf("%s: %d, %d bytes after %v", path, code, len(text), took)
			}
			t.Logf("%s, %s time: %d bytes after %v", path, which, len(text), took.Round(time.Millisecond))
		}
	}
}

// A watch in trouble is said before a run that is steady, and a failing run before a watch in
// trouble.
func TestGraverFirst(t *testing.T) {
	w := invent()
	w.status.Well, w.status.Reasons = false, []string{"probe loft: it is <gone>"}
	s := served(t, w)
	_, text := get(t, s, "/")
	has(t, text, "<li>Probe loft: it is &lt;gone&gt;.", "!it is <gone>")
	if strings.Index(text, "<b>LOOK</b>") > strings.Index(text, "<b>TROUBLE</b>") {
		t.Error("a failing run comes after a watch in trouble")
	}
	w.set(func() { w.history = &history.History{Series: w.history.Series[:1]} })
	if _, text = get(t, s, "/"); strings.Index(text, "<b>TROUBLE</b>") > strings.Index(text, "<b>STEADY</b>") {
		t.Error("a watch in trouble comes after a run that is steady")
	}
	w.set(func() { w.history = nil })
	if _, text = get(t, s, "/"); !strings.Contains(text, "NOT ANALYSED YET") {
		t.Error(text)
	}
}

// A link that may only read gets no form, and cannot note.
func TestReadersWriteNothing(t *testing.T) {
	w := invent()
	pages := New(w, w, Options{}) // without a guard no one may write
	defer close(w.done)
	for _, path := range []string{"/", "/element?kind=joint&name=west-north"} {
		to := httptest.NewRecorder()
		pages.ServeHTTP(to, httptest.NewRequest("GET", path, nil))
		has(t, to.Body.String(), `!method="post"`)
	}
}

// The page of an element has its value, the chosen time, repairs and months; what is not followed
// is said.
func TestElement(t *testing.T) {
	s := served(t, invent())
	code, text := get(t, s, "/element?kind=feed&name=near")
	if code != 200 {
		t.Fatal(code)
	}
	has(t, text, "<h1>Feed near</h1>", "<b>STEADY</b> 104.9 mΩ at 20 °C, 95 % interval 104.1 … 105.7 mΩ; limit 140.0 mΩ.", "a sensor was replaced", "<td class=\"n\" data-is=\"mΩ before\">100.0</td>",
		"2026-04", `value="repaired feed near"`, ">last 3 months<", `aria-current="true">everything`, "!NOTED")
	_, text = get(t, s, "/element?kind=feed&name=near&from=2026-04-01&to=2026-05-01&noted=1")
	has(t, text, `value="2026-04-01"`, `value="2026-05-01"`, "NOTED", `from=2026-03-17&amp;kind=feed&amp;name=near&amp;to=2026-04-16#picture`)
	_, text = get(t, s, "/element?kind=feed&name=near&from=2026-05-01&to=2026-04-01")
	has(t, text, "does not lie after its beginning")
	_, text = get(t, s, "/element?kind=feed&name=near&from=%3Cb%3E")
	has(t, text, "is no time such as", "!“<b>”")
	if code, text := get(t, s, "/element?kind=joint&name=north-east"); code != 404 || !strings.Contains(text, "do not follow it") {
		t.Errorf("%d %s", code, text)
	}
}

// The page of a sensor shows the store's exact least, mean and greatest value of the chosen time.
func TestSensor(t *testing.T) {
	w := invent()
	s := served(t, w)
	code, text := get(t, s, "/sensor?probe=board&channel=1&last=week")
	if code != 200 {
		t.Fatal(code)
	}
	// of periods 0 to 239 each tenth is empty: mean 119 + 0.5
	has(t, text, "Least 0.0000 V, mean 119.5 V, greatest 239.0 V, of 2160 readings.", "Voltage from west.start", ">last week<", "<td class=\"n\" data-is=\"readings\">180</td>")
	sel := w.asked[0]
	if sel.Probe != nil || sel.From != "west.start+" || !sel.Until.Equal(midnight) || sel.Until.Sub(sel.Since) != 7*day {
		t.Errorf("%+v", sel)
	}
	if code, _ := get(t, s, "/sensor?probe=board&channel=9"); code != 404 {
		t.Errorf("an unknown channel: %d", code)
	}
	w.set(func() { w.broken = true })
	if code, text := get(t, s, "/sensor?probe=board&channel=1"); code != 500 || !strings.Contains(text, "the disk is gone") {
		t.Errorf("a broken store: %d %s", code, text)
	}
	if code, text := get(t, s, "/"); code != 200 || !strings.Contains(text, "the events cannot be read: the disk is gone") {
		t.Errorf("the page over a broken store: %d", code)
	}
}

// A note is checked as that of the command line, stored, and followed by an analysis; the answer
// leads to the element that it concerns.
func TestNote(t *testing.T) {
	w := invent()
	s := served(t, w)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	note := func(text, at string) (int, string, string) {
		r, err := client.PostForm(s.URL+"/note", url.Values{"text": {text}, "at": {at}})
		if err != nil {
			t.Fatal(err)
		}
		code, body := answer(t, func() (*http.Response, error) { return r, nil })
		return code, r.Header.Get("Location"), body
	}
	if code, to, _ := note(" re-made joint 1 ", "2031-03-03T09:30"); code != 303 || to != "/element?kind=joint&name=west-north&noted=1" {
		t.Errorf("%d, to %s", code, to)
	}
	if len(w.notes) != 1 || w.notes[0].Text != "re-made joint 1" || !w.notes[0].Time.Equal(time.Date(2031, 3, 3, 9, 30, 0, 0, time.Local)) || w.analyses != 1 {
		t.Errorf("%+v, %d analyses", w.notes, w.analyses)
	}
	if code, to, _ := note("cleaned everything", ""); code != 303 || to != "/?noted=1" || !w.notes[1].Time.Equal(midnight) {
		t.Errorf("%d, to %s, %+v", code, to, w.notes[1])
	}
	for _, c := range []struct{ text, at, says string }{
		{"", "", "Write what was done"}, {strings.Repeat("x", 501), "", "at most 500"}, {"re-made joint 9", "", "There is no joint 9"},
		{"new feed naer", "", "near"}, {"cleaned", "2031-03-09T00:00", "in the future"}, {"cleaned", "<b>", "is no time such as"}} {
		code, _, body := note(c.text, c.at)
		if code != 400 || !strings.Contains(body, c.says) || strings.Contains(body, "“<b>") {
			t.Errorf("%q at %q: %d, %v", c.text, c.at, code, strings.Contains(body, c.says))
		}
	}
	if len(w.notes) != 2 {
		t.Errorf("%+v", w.notes)
	}
	for range 2 * noteBurst {
		if code, _, _ := note("cleaned", ""); code == 429 {
			return
		}
	}
	t.Error("notes without end")
}

// The JSON is that of the type, with its schema; open pages get it at once and when it changes,
// with a new revision after an analysis.
func TestLive(t *testing.T) { synctest.Test(t, testLive) }

func testLive(t *testing.T) {
	w := invent()
	defer close(w.done)
	client := servertest.Serve(t, guarded(t, w))
	_, text := answer(t, func() (*http.Response, error) { return client.Get("http://localhost/live") })
	var l Live
	if err := json.Unmarshal([]byte(text), &l); err != nil {
		t.Fatal(err)
	}
	if l.Schema != 1 || l.Run != "Map room cornice" || l.Step != "white 5 %" || l.Watch.Verdict != "unproven" || len(l.Channels) != 3 {
		t.Errorf("%+v", l)
	}
	one := l.Channels[0]
	if *one.Value != 5.0204 || one.Unit != "V" || one.Text != "5.020 V" || !one.Time.Equal(midnight.Add(-1500*time.Millisecond)) || one.State != current {
		t.Errorf("%+v", one)
	}
	if l.Channels[1].State != noneYet || l.Channels[1].Value != nil || l.Channels[2].State != lost {
		t.Errorf("%+v", l.Channels)
	}
	stream, err := client.Get("http://localhost/live/events")
	if err != nil {
		t.Fatal(err)
	}
	defer stream.Body.Close()
	lines := bufio.NewScanner(stream.Body)
	next := func() (got Live) {
		for lines.Scan() {
			if data, ok := strings.CutPrefix(lines.Text(), `data: {`); ok {
				if err := json.Unmarshal([]byte("{"+data), &got); err != nil {
					t.Error(err)
				}
				return got
			}
		}
		t.Fatal("the stream has ended")
		return got
	}
	if got := next(); got.Revision != l.Revision || len(got.Channels) != 3 {
		t.Errorf("%+v", got)
	}
	w.set(func() { w.status.Step, w.history = "dark", &history.History{} })
	changed := time.Now()
	got := next()
	for got.Step == "dark" && got.Revision == l.Revision { // sent before the pages were made again
		got = next()
	}
	if took := time.Since(changed); got.Step != "dark" || got.Revision != l.Revision+1 || took > 2*time.Second {
		t.Errorf("after %v: %+v", took, got)
	}
}
