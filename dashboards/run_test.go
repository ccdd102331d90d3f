package dashboards_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// dashboard is what the test wants to know of a dashboard: the form is the open
// specification of dashboards as data that the Cloud Native Computing Foundation keeps.
type dashboard struct {
	Spec struct {
		Variables []struct {
			Spec struct {
				Name   string
				Plugin struct{ Spec struct{ Matchers []string } }
			}
		}
		Panels map[string]struct {
			Spec struct {
				Display struct{ Name, Description string }
				Queries []struct {
					Spec struct {
						Plugin struct{ Spec struct{ Query string } }
					}
				}
			}
		}
		Layouts []struct {
			Spec struct {
				Items []struct {
					X, Y, Width, Height int
					Content             struct {
						Ref string `json:"$ref"`
					}
				}
			}
		}
	}
}

// Every panel has its place, one that no other has, and asks for metrics that the program
// really has, of the run that was chosen.
func TestDashboards(t *testing.T) {
	t.Run("run", func(t *testing.T) {
		glance(t, "run.json", "../internal/watch/metrics/metrics.go", `run=~"$run"`, "expr: 'ohmkeep_run_failing{", 8)
	})
	t.Run("fleet", func(t *testing.T) {
		glance(t, "fleet.json", "../internal/central/fleet/metrics.go", "", "expr: 'ohmkeep_fleet_sites'", 6)
	})
}

// glance holds a dashboard to the metrics of a source file. Every query has the matcher chosen; one
// of at least a number of panels has a query.
func glance(t *testing.T, file, source, chosen, has string, least int) {
	var d dashboard
	if err := json.Unmarshal([]byte(read(t, file)), &d); err != nil {
		t.Fatal(err)
	}
	metrics := read(t, source)
	exists := func(query string) {
		names := regexp.MustCompile(`ohmkeep_(\w+)`).FindAllStringSubmatch(query, -1)
		if len(names) == 0 {
			t.Errorf("%q asks for no metric", query)
		}
		for _, name := range names {
			if !strings.Contains(metrics, `"`+name[1]+`"`) {
				t.Errorf("%q: no metric is named %s", query, name[0])
			}
		}
	}
	for _, v := range d.Spec.Variables {
		for _, m := range v.Spec.Plugin.Spec.Matchers {
			exists(m)
		}
	}
	placed := map[string]int{}
	for _, l := range d.Spec.Layouts {
		taken := map[[2]int]bool{}
		for _, item := range l.Spec.Items {
			name := strings.TrimPrefix(item.Content.Ref, "#/spec/panels/")
			placed[name]++
			if _, ok := d.Spec.Panels[name]; !ok {
				t.Errorf("there is no panel %q", name)
			}
			for x := item.X; x < item.X+item.Width; x++ {
				for y := item.Y; y < item.Y+item.Height; y++ {
					if taken[[2]int{x, y}] || x >= 24 {
						t.Errorf("panel %q lies on another one or outside", name)
					}
					taken[[2]int{x, y}] = true
				}
			}
		}
	}
	var rules strings.Builder
	rules.WriteString("groups:\n  - name: panels\n    rules:\n")
	for name, p := range d.Spec.Panels {
		if placed[name] != 1 {
			t.Errorf("panel %q is placed %d times", name, placed[name])
		}
		if p.Spec.Display.Name == "" || p.Spec.Display.Description == "" || len(p.Spec.Queries) == 0 {
			t.Errorf("panel %q says nothing", name)
		}
		for _, q := range p.Spec.Queries {
			query := q.Spec.Plugin.Spec.Query
			exists(query)
			if !strings.Contains(query, chosen) {
				t.Errorf("panel %q does not ask for the run that was chosen", name)
			}
			rules.WriteString("      - {record: " + name + ", expr: '" + strings.NewReplacer("$run", "Hall", "$place", "Castle").Replace(query) + "'}\n")
		}
	}
	if len(d.Spec.Panels) < least {
		t.Errorf("%d panels", len(d.Spec.Panels))
	}
	if !strings.Contains(rules.String(), has) {
		t.Errorf("no panel has the query %s", has)
	}
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Log("promtool is not installed: the queries' grammar was not checked")
		return
	}
	panels := filepath.Join(t.TempDir(), "panels.yml")
	if err := os.WriteFile(panels, []byte(rules.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(tool, "check", "rules", panels).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
