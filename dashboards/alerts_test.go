// Package dashboards_test holds what a metrics server is given to its own tool.
package dashboards_test

import (
	"flag"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

var promtool = flag.Bool("promtool", false, "try the alerts with promtool, which must be installed")

func TestAlerts(t *testing.T) {
	if !*promtool {
		t.Skip("promtool is not run without -promtool")
	}
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed")
	}
	for _, args := range [][]string{{"check", "rules", "alerts.yml", "drift.yml", "fleet.yml"}, {"test", "rules", "alerts_test.yml", "drift_test.yml", "fleet_test.yml"}} {
		if out, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
			t.Errorf("%v: %v\n%s", args, err, out)
		}
	}
}

// Every rule has a test that wants it to fire and one that wants it not to, and
// every metric that a rule uses is one that the program has.
func TestEveryRuleIsTested(t *testing.T) {
	rules, tests, metrics := read(t, "alerts.yml")+read(t, "drift.yml")+read(t, "fleet.yml"), read(t, "alerts_test.yml")+read(t, "drift_test.yml")+read(t, "fleet_test.yml"),
		read(t, "../internal/watch/metrics/metrics.go")+read(t, "../internal/central/fleet/metrics.go")
	names := regexp.MustCompile(`- alert: (\w+)`).FindAllStringSubmatch(rules, -1)
	if len(names) < 8 {
		t.Fatalf("%d rules", len(names))
	}
	for _, name := range names {
		if !strings.Contains(tests, "alertname: "+name[1]+", exp_alerts: []") {
			t.Errorf("no test wants %s not to fire", name[1])
		}
		if !strings.Contains(tests, "alertname: "+name[1]+"\n        exp_alerts:\n") {
			t.Errorf("no test wants %s to fire", name[1])
		}
	}
	for _, metric := range regexp.MustCompile(`ohmkeep_(\w+)`).FindAllStringSubmatch(rules, -1) {
		if !strings.Contains(metrics, `"`+metric[1]+`"`) {
			t.Errorf("no metric is named %s", metric[0])
		}
	}
}

func read(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
