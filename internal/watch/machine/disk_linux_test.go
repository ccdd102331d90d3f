package machine

import (
	"os"
	"path/filepath"
	"testing"
)

func TestLook(t *testing.T) {
	s, err := ReadDiskSpace(t.TempDir())
	if err != nil || s.Free <= 0 || s.Size < s.Free || s.Written < -1 {
		t.Errorf("%+v, %v", s, err)
	}
	if _, err := ReadDiskSpace(filepath.Join(t.TempDir(), "absent")); err == nil {
		t.Error("the disk of nothing")
	}
}

// The line is the form of the kernel's documentation (block/stat): the seventh
// number is sectors written, of 512 bytes.
func TestWritten(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "179:2"), 0o755); err != nil {
		t.Fatal(err)
	}
	for content, want := range map[string]int64{
		"    2271    1263   163626    1023      512      88     8000     731        0     1180     1755\n": 8000 * 512,
		"1 2 3\n":                   -1,
		"1 2 3 4 5 6 many 8 9 10\n": -1,
	} {
		if err := os.WriteFile(filepath.Join(dir, "179:2", "stat"), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
		if got := written(dir, 179, 2); got != want {
			t.Errorf("%q: %d, want %d", content, got, want)
		}
	}
	if got := written(dir, 0, 5); got != -1 {
		t.Errorf("no such device: %d", got)
	}
}
