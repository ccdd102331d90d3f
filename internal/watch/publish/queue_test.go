package publish

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/mqtt"
)

func openQueue(t *testing.T, path string, limit int) *Queue {
	t.Helper()
	q, err := OpenQueue(path, limit)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = q.Close() })
	return q
}

func numbered(from, to int) (all []mqtt.Retained) {
	for n := from; n <= to; n++ {
		all = append(all, mqtt.Retained{Topic: "t", Payload: fmt.Sprint(n)})
	}
	return all
}

func waiting(t *testing.T, q *Queue) string {
	t.Helper()
	messages, err := q.first(t.Context(), 100)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, m := range messages {
		all = append(all, m.Payload)
	}
	return strings.Join(all, " ")
}

// Messages keep their order over a new opening; beyond the limit the oldest are dropped and counted, also over
// that.
func TestQueue(t *testing.T) {
	name := "a ?#%.db"
	if runtime.GOOS == "windows" { // where no name may hold ?
		name = "a #%.db"
	}
	path := filepath.Join(t.TempDir(), name)
	q := openQueue(t, path, 5)
	for i := 1; i <= 7; i += 2 {
		if err := q.Add(t.Context(), numbered(i, i+1)); err != nil {
			t.Fatal(err)
		}
	}
	if got := waiting(t, q); got != "4 5 6 7 8" {
		t.Errorf("%s", got)
	}
	messages, _ := q.first(t.Context(), 2)
	if err := q.remove(t.Context(), messages[1].id); err != nil {
		t.Fatal(err)
	}
	if err := q.Close(); err != nil {
		t.Fatal(err)
	}
	q = openQueue(t, path, 5)
	if err := q.Add(t.Context(), numbered(9, 11)); err != nil {
		t.Fatal(err)
	}
	n, dropped, err := q.Counts(t.Context())
	if got := waiting(t, q); got != "7 8 9 10 11" || n != 5 || dropped != 4 || err != nil {
		t.Errorf("%s: %d waiting, %d dropped, %v", got, n, dropped, err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Error(err)
	}
}

func TestQueueFaults(t *testing.T) {
	if _, err := OpenQueue(t.TempDir(), 5); err == nil || !strings.Contains(err.Error(), "the queue for the broker cannot be used") {
		t.Errorf("a folder: %v", err)
	}
	path := filepath.Join(t.TempDir(), "text.db")
	if err := os.WriteFile(path, []byte(strings.Repeat("this is no queue\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenQueue(path, 5); err == nil {
		t.Error("a text file is taken")
	}
}
