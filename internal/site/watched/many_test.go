package watched

import (
	"bufio"
	"io"
	"net"
	"runtime"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/web/access"
)

// Twenty open pages cost little memory, all get the newest values, and the board is read as fast as
// without them.
func TestManyOpenPages(t *testing.T) {
	if testing.Short() {
		t.Skip("measures memory")
	}
	w := begin(t, false, access.Options{})
	for begun := time.Now(); ; time.Sleep(5 * time.Millisecond) {
		if _, text := w.get("/live"); strings.Contains(text, `"text":"5.020 V"`) {
			break
		} else if time.Since(begun) > time.Minute {
			t.Fatalf("never read: %s", text)
		}
	}
	memory := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapInuse + m.StackInuse
	}
	const pages = 20
	before := memory()
	var open []net.Conn
	for range pages {
		c, err := net.Dial("tcp", w.address)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if _, err := io.WriteString(c, "GET /live/events HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		open = append(open, c)
	}
	w.volts.Store(4711)
	slowest := time.Duration(0)
	begun := time.Now()
	for _, c := range open {
		_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
		for lines := bufio.NewScanner(c); ; {
			if !lines.Scan() {
				t.Fatalf("a page gets no new value: %v", lines.Err())
			}
			if strings.Contains(lines.Text(), `"text":"4.711 V"`) {
				break
			}
		}
		slowest = max(slowest, time.Since(begun))
	}
	each := (int64(memory()) - int64(before)) / pages
	if each > 100_000 {
		t.Errorf("%d bytes for each open page", each)
	}
	t.Logf("%d open pages: %d bytes each, a new value reaches all after %v", pages, each, slowest.Round(time.Millisecond))
}
