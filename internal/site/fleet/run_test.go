package fleet

import (
	"bufio"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/central/replica"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/servertest"
)

// followed is an invented run that is followed.
type followed struct {
	site    string
	mu      sync.Mutex
	history *history.History
	arrival replica.Arrival
	ready   chan struct{}
	done    chan struct{}
}

// follow opens a run of the invented firm, which is analysed at once.
func (f *fakeFirm) follow(_ context.Context, site int64, name string) (Followed, error) {
	for _, s := range f.sites {
		for _, r := range s.Runs {
			if s.ID == site && r.Name == name {
				x := &followed{site: s.Name, history: showtest.History(), arrival: replica.Arrival{Heard: noon.Add(-5 * time.Minute), Until: noon.Add(-6 * time.Minute)},
					ready: make(chan struct{}), done: make(chan struct{})}
				if name == "Window" {
					x.arrival.Silent = true
				}
				if name == "Jetty" { // its first analysis takes long
					x.history, x.arrival.Analysing = nil, true
				} else {
					close(x.ready)
				}
				if f.followed == nil {
					f.followed = map[string]*followed{}
				}
				f.followed[fmt.Sprint(site, " ", name)] = x
				return x, f.fault()
			}
		}
	}
	return nil, fault.Fault{Text: "there is no such run"}
}

func (x *followed) Status() service.Status {
	return service.Status{Schema: 1, Well: true, Snapshot: recorder.Snapshot{Run: "Map room cornice", Time: noon, Certain: true, Probes: []recorder.ProbeState{
		{Name: "board", Channels: []recorder.ChannelState{{ID: "1", What: "voltage", Quantity: run.Voltage, From: "west.start+", To: "west.start-"}, {ID: "2", What: "current", Quantity: run.Current, From: "near"}}}}}}
}

func (x *followed) History() *history.History {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.history
}

func (x *followed) Arrival() replica.Arrival {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.arrival
}

var shown = showtest.Run()

func (x *followed) Run() *run.Run          { return shown }
func (x *followed) Site() string           { return x.site }
func (x *followed) AnalyseSoon()           {}
func (x *followed) Ready() <-chan struct{} { return x.ready }
func (x *followed) Done() <-chan struct{}  { return x.done }
func (x *followed) Close()                 { close(x.done) }

func (x *followed) NewestMarks(context.Context, string, string, string, int) ([]store.Mark, error) {
	return []store.Mark{{Time: noon, Kind: store.MarkNote, Text: "new feed near"}}, nil
}
func (x *followed) ByHand(context.Context, *run.Run) ([]reading.Reading, error) { return nil, nil }
func (x *followed) Span(context.Context, string) (first, last time.Time, err error) {
	return noon.AddDate(-1, 0, 0), noon, nil
}
func (x *followed) MinMeanMax(_ context.Context, sel store.Selection, n int) ([]store.Bucket, error) {
	buckets, _ := sel.Periods(n)
	for i := range buckets {
		buckets[i].N, buckets[i].Min, buckets[i].Mean, buckets[i].Max = 10, 4.8, 4.9, 5
	}
	return buckets, nil
}

// The page of a run has every element, the sensors and what happened; it has no live value and no
// form, and says where these are. Its links stay below its own path, and lead back to the site.
func TestRunPages(t *testing.T) {
	f := invent()
	s := serve(t, f, access.Options{})
	_, text := get(t, s.URL+"/site/7")
	has(t, text, `<a href="/site/7/run/Cornice/">`, `<a href="/site/7/run/Plinth/">`)
	_, text = get(t, s.URL+"/site/7/run/Cornice/")
	has(t, text, `<a href="/">Sites</a>`, `<a href="/comparisons">`, `<a href="/site/7">Map room &lt;b&gt;</a>`, "<b>LOOK</b> joint west-north is drifting", "<b>CENTRAL DATA</b> Last heard of its watch on 4 March 2031", "have arrived",
		"The run as it hangs", "16.0 mΩ fail", "Sensors", "shown by the site's own watch", `<a href="sensor?channel=1&amp;probe=board">`, `href="element?kind=joint&amp;name=west-north"`, "at the site's own watch", "new feed near",
		"!<form", "!Volts and amps now", "!none yet", "!/status", "!/metrics", "!watch as JSON")
	for path, want := range map[string]string{"element?kind=joint&name=west-north": "Over the years", "element?kind=joint&name=west-north&last=month": `aria-current="true">last month`, "sensor?probe=board&channel=1": "Least 4.800 V, mean 4.900 V", "events": "new feed near"} {
		code, text := get(t, s.URL+"/site/7/run/Cornice/"+path)
		if code != 200 {
			t.Errorf("%s: %d", path, code)
		}
		has(t, text, `<p class="back"><a href="./">`, want, "!<form method", "!Note a repair", `!none yet`)
	}
	_, text = get(t, s.URL+"/site/3/run/Window/")
	has(t, text, `<div class="verdict unproven"><b>SILENT</b> Last heard of its watch on`)
	_, text = get(t, s.URL+"/site/7/run/Cornice/live")
	has(t, text, `"verdict":""`, "Last heard of its watch on", `"state":"not live"`)
	for path, want := range map[string]int{"/site/7/run/Nothing/": 404, "/site/8/run/Cornice/": 404, "/site/x/run/Cornice/": 404, "/site/7/run/Cornice/nothing": 404, "/site/7/run/Cornice/element?kind=joint&name=x": 404} {
		if code, _ := get(t, s.URL+path); code != want {
			t.Errorf("%s: %d, want %d", path, code, want)
		}
	}
}

// A page that is opened while a run is analysed for the first time shows the result by itself: its
// events name another revision then.
func TestFirstAnalysis(t *testing.T) { synctest.Test(t, testFirstAnalysis) }

func testFirstAnalysis(t *testing.T) {
	f := invent()
	client := servertest.Serve(t, guarded(t, f, access.Options{}))
	_, text := getBy(t, client, "http://localhost/site/9/run/Jetty/")
	has(t, text, "<b>NOT ANALYSED YET</b> Its readings are being analysed; this page shows the result by itself.")
	r, err := client.Get("http://localhost/site/9/run/Jetty/live/events")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	lines := bufio.NewScanner(r.Body)
	revision := func() string {
		t.Helper()
		for lines.Scan() {
			if _, rest, found := strings.Cut(lines.Text(), `"revision":`); found {
				return rest[:strings.IndexAny(rest, ",}")]
			}
		}
		t.Fatal("the events end")
		return ""
	}
	first := revision()
	x := f.followed["9 Jetty"]
	x.mu.Lock()
	x.history, x.arrival.Analysing = showtest.History(), false
	x.mu.Unlock()
	close(x.ready)
	analysed := time.Now()
	if second := revision(); first == second || time.Since(analysed) > 2*time.Second {
		t.Errorf("revision %s before and %s after, which came after %v", first, second, time.Since(analysed))
	}
	_, text = getBy(t, client, "http://localhost/site/9/run/Jetty/")
	has(t, text, "<b>LOOK</b>", "!NOT ANALYSED")
}

// At most mostOpen runs are followed: the one that was not used for the longest time is closed for
// another, but none whose page is open.
func TestFewRunsAreFollowed(t *testing.T) {
	f := invent().many(mostOpen + 2)
	s := serve(t, f, access.Options{})
	open := func(i int) int {
		code, _ := get(t, fmt.Sprintf("%s/site/%d/run/Shelf/live", s.URL, 100+i))
		return code
	}
	closed := func() (names []string) {
		for name, x := range f.followed {
			select {
			case <-x.done:
				names = append(names, name)
			default:
			}
		}
		slices.Sort(names)
		return names
	}
	held, err := http.Get(s.URL + "/site/100/run/Shelf/live/events")
	if err != nil {
		t.Fatal(err)
	}
	defer held.Body.Close()
	for i := range mostOpen {
		if code := open(i); code != 200 || len(closed()) != 0 {
			t.Fatalf("run %d: %d, closed %v", i, code, closed())
		}
	}
	if code := open(mostOpen); code != 200 || len(closed()) != 1 || closed()[0] == "100 Shelf" {
		t.Errorf("one more: %d, closed %v", code, closed())
	}
}
