package fleet

import (
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/result/firm"
)

// An element that fails on both rails and by both sources is counted once, with drift's verdict; the
// metrics say until when a site is being repaired, and of which site nothing was ever heard.
func TestMetricsCountElements(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	cause := func(source, kind, name, rail, verdict string) firm.Cause {
		return firm.Cause{Source: source, Kind: kind, Name: name, Rail: rail, Verdict: verdict}
	}
	causes := []firm.Cause{
		cause("assess", "joint", "west-north", "loop", "fail"), cause("assess", "joint", "west-north", "plus", "fail"),
		cause("assess", "feed", "near", "loop", "fail"),
		cause("drift", "joint", "north-east", "loop", "stepped"),
		cause("drift", "joint", "west-north", "loop", "stepped"), cause("drift", "joint", "west-north", "plus", "drifting"),
	}
	var b strings.Builder
	if err := WriteMetrics(&b, []*firm.Site{
		{Name: "North", Severity: firm.Failing, Runs: []firm.Run{{Name: "Shelf", Causes: causes}, {Name: "Stairs", Causes: causes[3:4]}}},
		{Name: "South", Severity: firm.InRepair, Repair: now.Add(time.Hour), Runs: []firm.Run{{Name: "Shelf", Causes: causes[2:3], Heard: now}}},
		{Name: "West", Place: "Mill", Severity: firm.Silent},
	}, now); err != nil {
		t.Fatal(err)
	}
	var got []string
	for line := range strings.Lines(b.String()) {
		if strings.HasPrefix(line, "ohmkeep_fleet_failing_elements{") || strings.HasPrefix(line, "ohmkeep_fleet_repair_until") ||
			strings.HasPrefix(line, "ohmkeep_fleet_unheard{") {
			got = append(got, strings.TrimSpace(line))
		}
	}
	want := []string{
		`ohmkeep_fleet_failing_elements{kind="feed",place="",site="North",verdict="fail"} 1`,
		`ohmkeep_fleet_failing_elements{kind="feed",place="",site="South",verdict="fail"} 1`,
		`ohmkeep_fleet_failing_elements{kind="joint",place="",site="North",verdict="stepped"} 3`,
		`ohmkeep_fleet_repair_until_timestamp_seconds{site="South"} 1.8000036e+09`,
		`ohmkeep_fleet_unheard{place="",site="North"} 1`,
		`ohmkeep_fleet_unheard{place="",site="South"} 0`,
		`ohmkeep_fleet_unheard{place="Mill",site="West"} 1`,
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%s", strings.Join(got, "\n"))
	}
}
