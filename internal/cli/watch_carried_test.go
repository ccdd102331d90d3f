package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
)

// In a watch a probe without places is a meter that is carried: its port is opened when the walk measures with it,
// as soon as it is there, and its display is taken into the store. The watch is well without it.
func TestWalkInWatchWithCarriedMeter(t *testing.T) {
	s := newParallelSession(t)
	pair := s.terminal()
	port := filepath.Join(t.TempDir(), "meter")
	s.write("shelf.toml", shelf+board("cabinet", pair.Path)+
		fmt.Sprintf("[[probe]]\nname = \"hand\"\nprofile = \"fs9721\"\nport = %q\n[[probe.channel]]\nid = \"display\"\nquantity = \"voltage\"\n", port))
	w := s.watch()
	type state struct {
		Number          int
		Ready, Typed    bool
		Own             bool
		Task, Step      string
		Quantity        string
		Place           json.RawMessage
		Warnings, Leads []string
	}
	var now state
	until := func(what string, ok func() bool) {
		t.Helper()
		w.until(what, func() bool {
			_, text := w.ask("GET", "/walk/state", "")
			now = state{}
			return json.Unmarshal([]byte(text), &now) == nil && ok()
		})
	}
	do := func(what string) (int, string) {
		place := now.Place
		if now.Task == "step" {
			place = json.RawMessage(fmt.Sprintf(`{"step":%q}`, now.Step))
		}
		return fetch(t, "POST", "http://"+w.addr+"/walk/do", "http://"+w.addr, fmt.Sprintf(`{"seen":%d,"do":%q,"place":%s}`, now.Number, what, place))
	}
	until("the walk", func() bool { return now.Ready })
	if status, text := do("shown"); status != 200 {
		t.Fatalf("%d %s", status, text)
	}
	for n := 0; ; n++ { // to the first voltage; the shelf's own meter measures currents too
		until("a place", func() bool { return now.Task == "read" })
		if len(now.Leads) == 2 {
			break
		}
		if status, text := do("skip"); status != 200 || n > 20 {
			t.Fatalf("%d %s", status, text)
		}
	}
	if now.Typed || !now.Own {
		t.Errorf("the meter is not asked: %+v", now)
	}
	if status, text := do("take"); status != 422 || !strings.Contains(text, "shows no value") {
		t.Errorf("without the meter: %d %s", status, text)
	}
	path := terminal(t, func(p *devices.Pair) runner {
		return devices.NewHandheld(p, func() []byte { return devices.SegmentPicture("4.812", "V", "DC") }, 20*time.Millisecond)
	})
	if err := os.Symlink(path, port); err != nil {
		t.Fatal(err)
	}
	seen := now.Number
	until("a value is taken", func() bool {
		if now.Number > seen {
			return true
		}
		_, _ = do("take") // refused until the meter is found
		return false
	})
	if status, text := w.ask("GET", "/status", ""); status != 200 || strings.Contains(text, `"hand"`) {
		t.Errorf("the watch reads the carried meter: %d %s", status, text)
	}
	w.ends()
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",4.812,V,fs9721\n")
}
