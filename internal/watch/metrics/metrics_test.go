package metrics

import (
	"errors"
	"math"
	"net/http/httptest"
	"os/exec"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/recorder"
)

func number(x float64) *float64 { return &x }

// cabinet is an invented state with names that need escaping.
func cabinet() Source {
	return Source{
		Snapshot: func() recorder.Snapshot {
			return recorder.Snapshot{Run: `Bob's "hall" \ stairs`, Certain: true, Seconds: 900, Step: "white 5 %", Waiting: 7, Dropped: 2, Refused: 1,
				Commits: 90, Failures: 3, CommitAge: 4.5, CommitSeconds: 0.0125,
				Probes: []recorder.ProbeState{
					{Name: "board", Up: true, Stored: 120, Bad: 5, Skipped: 1, Lost: 2, Channels: []recorder.ChannelState{
						{ID: "1", Quantity: run.Voltage, What: "voltage", From: "west.start+", To: "west.start-", Age: number(12), Value: number(4.8)},
						{ID: "2", Quantity: run.Current, What: "current", From: "near", Age: number(0.5), Value: number(2.31), Unusable: 4},
						{ID: "3", Quantity: run.Temperature, What: "temperature", From: "west", Age: number(301), Value: number(20)},
					}},
					{Name: "second", Channels: []recorder.ChannelState{
						{ID: "1", Quantity: run.Voltage, What: "voltage", From: "west.start+", To: "west.start-", Age: number(3), Value: number(4.9)},
						{ID: "2", Quantity: run.Current, What: "current", From: "far"},
					}},
				}}
		},
		Disk: func() (Disk, error) {
			return Disk{Store: 1000, Damaged: true, Free: 2000, Size: 3000, Written: -1}, nil
		},
		History: func() *history.History {
			return &history.History{Check: time.Unix(1_800_000_000, 0), Series: []history.Series{
				{Kind: run.KindFeed, Name: "near", Rail: run.Loop, Ohms: 0.1048, Low: 0.104, High: math.Inf(1), Limit: 0.15, Verdict: history.Drifting},
				{Kind: run.KindJoint, Name: "west-north", Rail: run.Plus, Ohms: math.NaN(), Low: 0, High: math.Inf(1), Limit: math.NaN(), Verdict: history.Unproven},
			}}
		},
	}
}

func scrape(t *testing.T, s Source) string {
	t.Helper()
	w := httptest.NewRecorder()
	Handler(s).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	if got := w.Header().Get("Content-Type"); !strings.HasPrefix(got, "text/plain; version=0.0.4") {
		t.Errorf("content type %q", got)
	}
	return w.Body.String()
}

func TestMetrics(t *testing.T) {
	text := scrape(t, cabinet())
	const r = `run="Bob's \"hall\" \\ stairs"`
	for _, want := range []string{
		"# TYPE ohmkeep_readings_total counter",
		"# HELP ohmkeep_probe_up 1 while the instrument's port is open.\n# TYPE ohmkeep_probe_up gauge",
		`ohmkeep_readings_total{probe="board",` + r + `} 120`,
		`ohmkeep_bad_lines_total{probe="board",` + r + `} 5`,
		`ohmkeep_probe_up{probe="board",` + r + `} 1`,
		`ohmkeep_probe_up{probe="second",` + r + `} 0`,
		`ohmkeep_voltage_volts{from="west.start+",` + r + `,to="west.start-"} 4.9`, // the fresher one
		`ohmkeep_current_amperes{feed="near",` + r + `} 2.31`,
		`ohmkeep_last_good_reading_age_seconds{channel="1",probe="board",quantity="voltage",` + r + `} 12`,
		`ohmkeep_last_good_reading_age_seconds{channel="2",probe="second",quantity="current",` + r + `} 900`, // never: since the start
		`ohmkeep_unusable_values_total{channel="2",probe="board",quantity="current",` + r + `} 4`,
		"ohmkeep_queue_readings{" + r + `} 7`,
		"ohmkeep_dropped_readings_total{" + r + `} 3`,
		"ohmkeep_commit_failures_total{" + r + `} 3`,
		"ohmkeep_clock_certain{" + r + `} 1`,
		"ohmkeep_run_failing{" + r + `} 1`,
		"ohmkeep_step_shown{" + r + `,step="white 5 %"} 1`,
		"ohmkeep_check_step_timestamp_seconds{" + r + `} 1.8e+09`,
		"ohmkeep_store_bytes{" + r + `} 1000`,
		"ohmkeep_store_damaged{" + r + `} 1`,
		"ohmkeep_disk_free_bytes{" + r + `} 2000`,
		`ohmkeep_resistance_ohms{kind="feed",name="near",rail="loop",` + r + `} 0.1048`,
		`ohmkeep_resistance_lower_ohms{kind="feed",name="near",rail="loop",` + r + `} 0.104`,
		`ohmkeep_resistance_upper_ohms{kind="feed",name="near",rail="loop",` + r + `} +Inf`,
		`ohmkeep_resistance_limit_ohms{kind="feed",name="near",rail="loop",` + r + `} 0.15`,
		`ohmkeep_verdict{kind="feed",name="near",rail="loop",` + r + `,verdict="drifting"} 1`,
		`ohmkeep_verdict{kind="feed",name="near",rail="loop",` + r + `,verdict="steady"} 0`,
		`ohmkeep_verdict{kind="joint",name="west-north",rail="plus",` + r + `,verdict="unproven"} 1`,
	} {
		if !strings.Contains(text, "\n"+want+"\n") {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
	for _, never := range []string{
		"ohmkeep_temperature_celsius{", // older than five minutes
		`feed="far"`,                   // never heard
		"} 4.8\n",                      // the older value of the same place
		"device_written",               // not known
		`ohmkeep_resistance_ohms{kind="joint"`,
		`ohmkeep_resistance_upper_ohms{kind="joint"`,
		`ohmkeep_resistance_limit_ohms{kind="joint"`,
	} {
		if strings.Contains(text, never) {
			t.Errorf("%s in\n%s", never, text)
		}
	}
	if !strings.Contains(text, "\nprocess_resident_memory_bytes ") {
		t.Errorf("nothing of the process in\n%s", text)
	}
	// The samples of a metric follow its head without another metric between them.
	heads := map[string]int{}
	for line := range strings.Lines(text) {
		if name, ok := strings.CutPrefix(line, "# TYPE "); ok {
			heads[strings.Fields(name)[0]]++
		}
	}
	for name, n := range heads {
		if n != 1 {
			t.Errorf("%s has %d heads", name, n)
		}
	}
}

// A run fails if a resistance drifts, or if its whole interval is over its limit.
func TestRunFailing(t *testing.T) {
	for _, c := range []struct {
		name   string
		series []history.Series
		want   string
	}{
		{"not analysed", nil, "0"},
		{"within its limit", []history.Series{{Ohms: 0.01, Low: 0.009, High: 0.02, Limit: 0.015, Verdict: history.Steady}}, "0"},
		{"without a limit", []history.Series{{Ohms: 0.01, Low: 0.009, High: 0.02, Limit: math.NaN(), Verdict: history.Unproven}}, "0"},
		{"over its limit", []history.Series{{Ohms: 0.039, Low: 0.037, High: 0.041, Limit: 0.015, Verdict: history.Steady}}, "1"},
		{"stepped", []history.Series{{Limit: math.NaN(), Verdict: history.Steady}, {Limit: math.NaN(), Verdict: history.Jumped}}, "1"},
	} {
		s := cabinet()
		s.History = func() *history.History {
			if c.series == nil {
				return nil
			}
			return &history.History{Series: c.series}
		}
		if text := scrape(t, s); !strings.Contains(text, `ohmkeep_run_failing{run="Bob's \"hall\" \\ stairs"} `+c.want+"\n") {
			t.Errorf("%s: not %s in\n%s", c.name, c.want, text)
		}
	}
}

// Without a disk and without a history the other metrics are served.
func TestWithoutDisk(t *testing.T) {
	s := cabinet()
	s.Disk = func() (Disk, error) { return Disk{}, errors.New("none") }
	s.History = func() *history.History { return nil }
	text := scrape(t, s)
	if strings.Contains(text, "disk_free") || strings.Contains(text, "verdict") || strings.Contains(text, "check_step") || !strings.Contains(text, "ohmkeep_probe_up") {
		t.Error(text)
	}
}

// promtool checks the text and reports no problem.
func TestPromtool(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed")
	}
	c := exec.Command(tool, "check", "metrics")
	c.Stdin = strings.NewReader(scrape(t, cabinet()))
	if out, err := c.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
}
