package cli

import (
	"bytes"
	"image/png"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// short is a survey without the start of the right reel, which leaves
// its joint and the reel behind it in one another's place.
func short(v survey.Visit) bool {
	return !strings.Contains(v.From+" "+v.To, "right.start")
}

// The shelf's limits: 15 mΩ a joint, 25 % over what is stated for feed and reel.
func TestAssessExitStatus(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep assess shelf.toml readings.csv`).exits(Passes).prints("pass")
	s.walk(60, everything)
	s.do(`ohmkeep assess shelf.toml readings.csv`).exits(Fails).prints("FAIL", "joint left-right", "Disconnect the")
	s.walk(3, short)
	s.do(`ohmkeep assess shelf.toml readings.csv`).exits(Unproven).prints("UNPROVEN", "joint left-right", "What to do")
	s.do(`ohmkeep assess shelf.toml < readings.csv`).refused("wants readings")
	s.do(`ohmkeep assess shelf.toml - < readings.csv`).exits(Unproven)
}

// Keys and types of the output that other programs read.
func TestAssessJSON(t *testing.T) {
	s := newSession(t)
	s.walk(60, everything)
	bad := s.do(`ohmkeep assess shelf.toml readings.csv --json`).exits(Fails)
	holds(t, decoded(t, bad.out), `{"schema":1,"run":"Book shelf",
 "fit":{"converged":true,"chi_squared":31.2,"degrees_of_freedom":24,"p_value":0.15},
 "elements":[{"kind":"joint","name":"west-north","rail":"loop","low":94.9}],
 "readings":[{"row":2,"predicted":4.812,"residual":0.001,"standardised":0.8,"suspect":false}],
 "next":[],
 "findings":[{"severity":"fail","subject":"joint west-north","text":"…"}]}`)
	joint := element(t, bad.out, "joint", "left-right")
	holds(t, joint, `{"milliohms":60,"low":40,"high":80,"limit_milliohms":15,"probability_over_limit":1.0,"verdict":"fail"}`)
	if joint["verdict"] != "fail" || joint["limit_milliohms"] != 15.0 {
		t.Error(joint)
	}
	if low, high := joint["low"].(float64), joint["high"].(float64); !(low < 60 && 60 < high && low > 15) {
		t.Errorf("60 mΩ were simulated, found %g to %g", low, high)
	}
	holds(t, element(t, bad.out, "reel", "left"), `{"milliohms_per_metre":80,"verdict":"pass"}`)
	if text := s.do(`ohmkeep assess shelf.toml readings.csv --json`).out; text != bad.out {
		t.Error("the same readings give another answer")
	}

	s.walk(3, short)
	unproven := s.do(`ohmkeep assess shelf.toml readings.csv --json`).exits(Unproven)
	holds(t, decoded(t, unproven.out), `{"next":[{"quantity":"voltage","from":"north.start+","to":"north.start-","step":"white 5 %","settles":["west-north"]}]}`)
	if next := decoded(t, unproven.out)["next"].([]any); len(next) == 0 {
		t.Error("nothing is unproven that a reading would settle")
	}
}

func TestAssessWritesFiles(t *testing.T) {
	s := newSession(t)
	s.walk(60, everything)
	s.do(`ohmkeep assess shelf.toml readings.csv --report shelf.html --picture shelf.svg`).exits(Fails).
		prints("FAIL").says("report: shelf.html", "picture: shelf.svg")
	page := s.content("shelf.html")
	if !strings.Contains(page, "<svg") || !strings.Contains(page, "left-right") || !strings.HasSuffix(page, "</html>\n") {
		t.Error("the report is not whole")
	}
	if beyond := regexp.MustCompile(`(?i)<(link|script|iframe)\b|\b(src|href)="?[^"#d]|url\(["']?[a-z]+:|@import`).FindString(page); beyond != "" {
		t.Errorf("the report reaches beyond itself: %s", beyond)
	}
	if !strings.Contains(s.content("shelf.svg"), "</svg>") {
		t.Error("the picture is not whole")
	}
	s.do(`ohmkeep assess shelf.toml readings.csv --picture shelf.PNG`).exits(Fails)
	if _, err := png.Decode(bytes.NewReader([]byte(s.content("shelf.PNG")))); err != nil {
		t.Error(err)
	}
	s.do(`ohmkeep assess shelf.toml readings.csv --report other.html --picture shelf.jpg`).refused("shelf.jpg: a picture's file ends in .png or .svg")
	s.do(`ohmkeep assess shelf.toml readings.csv --report nowhere/shelf.html`).refused("nowhere/shelf.html: there is no folder nowhere")
	s.do(`ohmkeep assess shelf.toml readings.csv --picture nowhere/shelf.png`).refused("nowhere/shelf.png: there is no folder nowhere")
	s.holds("readings.csv", "shelf.PNG", "shelf.html", "shelf.svg", "shelf.toml")
	if err := os.Mkdir("folder.html", 0o755); err != nil {
		t.Fatal(err)
	}
	s.do(`ohmkeep assess shelf.toml readings.csv --report folder.html`).refused("folder.html: is a directory")
	s.holds("folder.html", "readings.csv", "shelf.PNG", "shelf.html", "shelf.svg", "shelf.toml")
}

func TestAssessBadRows(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	good := s.do(`ohmkeep assess shelf.toml readings.csv --json`).exits(Passes)
	s.write("readings.csv", s.content("readings.csv")+"2026-03-01T12:00:00Z,dark,voltage,A+,A-,five,V,bench\n")
	s.do(`ohmkeep assess shelf.toml readings.csv`).refused(`readings.csv:26: value: "five" is not a decimal number`)
	skipped := s.do(`ohmkeep assess shelf.toml readings.csv --skip-bad --json`).exits(Passes).says("readings.csv: 1 bad line left out")
	if skipped.out != good.out {
		t.Error("a row left out changes the answer")
	}
	s.do(`ohmkeep assess shelf.toml - < readings.csv`).refused("standard input:26: value:")
}

func TestAssessFromStore(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	fromFile := s.do(`ohmkeep assess shelf.toml readings.csv --json`).exits(Passes)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	fromStore := s.do(`ohmkeep assess shelf.toml --store shelf.db --json`).exits(Passes)
	if fromFile.out != fromStore.out {
		t.Errorf("from the file\n%s\nfrom the store\n%s", fromFile.out, fromStore.out)
	}
	s.do(`ohmkeep assess shelf.toml readings.csv --store shelf.db`).refused("not from both")
	s.do(`ohmkeep assess shelf.toml --store none.db`).refused("none.db: there is no such store")
	s.do(`ohmkeep assess shelf.toml --store shelf.toml`).refused("shelf.toml: this is not a store")
	s.write("other.toml", strings.Replace(shelf, `"Book shelf"`, `"Wine rack"`, 1))
	s.do(`ohmkeep assess other.toml --store shelf.db`).refused(`shelf.db: holds no readings of run "Wine rack"`)
}

// The run file that has every table once can be assessed from the readings of a
// meter that measures volts alone; and every other shipped one from its own meter's.
func TestAssessShipped(t *testing.T) {
	shippedRuns(t, func(s session, file string, r *run.Run) {
		s.write("readings.csv", s.simulated(r, func(*calibrationtest.Plant) {}, everything))
		o := s.do(`ohmkeep assess "` + file + `" readings.csv --json`)
		if o.status == Wrong || o.faults != "" {
			t.Errorf("%s: exits %d and says %s", filepath.Base(file), o.status, o.faults)
			return
		}
		a := decoded(t, o.out)
		if fit := a["fit"].(map[string]any); a["run"] != r.Name || fit["converged"] != true {
			t.Errorf("%s: run %v, fit %v", filepath.Base(file), a["run"], fit)
		}
		for _, e := range a["elements"].([]any) {
			if e := e.(map[string]any); e["kind"] == "joint" && e["verdict"] == "fail" {
				t.Errorf("%s: a sound joint fails: %v", filepath.Base(file), e)
			}
		}
		if n := strings.Count(s.content("readings.csv"), "\n") - 1; len(a["readings"].([]any)) != n {
			t.Errorf("%s: %d readings of %d", filepath.Base(file), len(a["readings"].([]any)), n)
		}
	})
}
