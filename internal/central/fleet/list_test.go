package fleet

import (
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/result/firm"
)

var now = time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC)

// site makes a site with one run.
func site(name, place string, r firm.Run) *firm.Site {
	r.Name = "Shelf"
	if r.Heard.IsZero() {
		r.Heard = now.Add(-time.Minute)
	}
	if r.Elements == 0 {
		r.Elements = 4
	}
	s := &firm.Site{Name: name, Place: place, Runs: []firm.Run{r}}
	judge(s, now)
	return s
}

func cause(weeks int) []firm.Cause {
	return []firm.Cause{{Source: "drift", Kind: "joint", Name: "a-b", Rail: "loop", Verdict: "stepped", Since: now.AddDate(0, 0, -7*weeks)}}
}

func TestSeverity(t *testing.T) {
	for _, c := range []struct {
		run  firm.Run
		want firm.Severity
	}{
		{firm.Run{}, firm.Sound},
		{firm.Run{Unproven: 1}, firm.Unproven},
		{firm.Run{Unproven: 1, Heard: now.Add(-27 * time.Hour)}, firm.Silent},
		{firm.Run{Heard: now.Add(-25 * time.Hour)}, firm.Sound},
		{firm.Run{Causes: cause(1), Heard: now.Add(-27 * time.Hour)}, firm.Failing},
	} {
		if s := site("a", "", c.run); s.Severity != c.want {
			t.Errorf("%+v: %s, want %s", c.run, s.Severity, c.want)
		}
	}
	s := site("a", "", firm.Run{Causes: cause(1)})
	s.Repair = now.Add(time.Minute)
	if judge(s, now); s.Severity != firm.InRepair {
		t.Errorf("in repair: %s", s.Severity)
	}
	if judge(s, now.Add(time.Hour)); s.Severity != firm.Failing || !s.Since.Equal(now.AddDate(0, 0, -7)) {
		t.Errorf("after the repair: %s since %v", s.Severity, s.Since)
	}
	never := &firm.Site{}
	if judge(never, now); never.Severity != firm.Silent {
		t.Errorf("a site that never sent anything: %s", never.Severity)
	}
}

// A list is sorted by severity, then by the week of the earliest cause, then by place.
func TestOrderOfVisits(t *testing.T) {
	want := []*firm.Site{site("1", "9", firm.Run{Causes: cause(5)}), site("2", "1 Castle", firm.Run{Causes: cause(2)}), site("3", "2 Harbour", firm.Run{Causes: cause(2)}),
		site("4", "0", firm.Run{Causes: []firm.Cause{{}}}), site("5", "0", firm.Run{Heard: now.AddDate(0, 0, -3)}), site("6", "0", firm.Run{Unproven: 2}), site("7", "0", firm.Run{}), site("8", "1", firm.Run{})}
	for i, a := range want {
		for k, b := range want {
			if got := bySeverity(a, b); (got < 0) != (i < k) || (got == 0) != (i == k) {
				t.Errorf("site %s against site %s: %d", a.Name, b.Name, got)
			}
		}
	}
}

func TestMetrics(t *testing.T) {
	another := cause(2)
	another[0].Name = "b-c"
	two := site("North \"hall\"", "Castle", firm.Run{Causes: append(cause(1), another...), Unproven: 3})
	var b strings.Builder
	if err := WriteMetrics(&b, []*firm.Site{two, site("South", "", firm.Run{})}, now); err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{
		`ohmkeep_fleet_failing_elements{kind="joint",place="Castle",site="North \"hall\"",verdict="stepped"} 2`,
		`ohmkeep_fleet_unproven_elements{place="",site="South"} 0`,
		`ohmkeep_fleet_in_repair{site="South"} 0`,
		`ohmkeep_fleet_sites{severity="failing"} 1`, `ohmkeep_fleet_sites{severity="in repair"} 0`,
		`ohmkeep_fleet_heard_timestamp_seconds{place="Castle",run="Shelf",site="North \"hall\""} 1.79603994e+09`, `ohmkeep_fleet_list_timestamp_seconds 1.79604e+09`,
	} {
		if !strings.Contains(b.String(), "\n"+line) {
			t.Errorf("no line %s in\n%s", line, b.String())
		}
	}
}
