package machine

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

func TestSystem(t *testing.T) {
	m := System()
	if m.Boot() == "" || m.Boot() != System().Boot() {
		t.Errorf("boot %q", m.Boot())
	}
	before := m.SinceBoot()
	time.Sleep(2 * time.Millisecond)
	if passed := m.SinceBoot() - before; passed < 2*time.Millisecond || passed > time.Minute {
		t.Errorf("%v passed in 2 ms", passed)
	}
	if off := time.Since(m.Wall()); off < 0 || off > time.Minute {
		t.Errorf("the wall clock is %v off", off)
	}
	_ = m.Synchronised() // either may be
}

func TestBattery(t *testing.T) {
	class := t.TempDir()
	if battery(class, "arm64") || !battery(class, "amd64") {
		t.Error("without any clock")
	}
	for i, c := range []struct {
		content string
		want    bool
	}{{"0\n", false}, {"1\n", true}} {
		dir := filepath.Join(class, "rtc"+string(rune('0'+i)))
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "hctosys"), []byte(c.content), 0o644); err != nil {
			t.Fatal(err)
		}
		if got := battery(class, "arm"); got != c.want {
			t.Errorf("hctosys %q: %v", c.content, got)
		}
	}
}
