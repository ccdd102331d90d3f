package cli

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

// A watch of eight boards that may open 128 descriptors answers /healthz while ten times as
// many requests are left half sent.
func TestFewDescriptors(t *testing.T) {
	s := newSession(t)
	pair := s.terminal()
	text := shelf + board("cabinet", pair.Path)
	for i := range 7 {
		text += board(fmt.Sprint("cabinet ", i), s.terminal().Path)
	}
	s.write("shelf.toml", text)
	w := &watching{session: s, addr: s.freeAddress(), out: &watchtest.Log{}}
	program := process("watch", "shelf.toml", "--store", "shelf.db", "--commit", "20ms", "--listen", w.addr)
	limited := exec.Command("sh", "-c", `ulimit -n 128 && exec "$0"`, program.Path)
	limited.Env, limited.Stderr = program.Env, w.out
	if err := limited.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = limited.Process.Kill() }() // it has ended already if all is well
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
	client := &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	slowest := time.Duration(0)
	for i := range 1280 {
		c, err := net.Dial("tcp", w.addr)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		_, _ = io.WriteString(c, "POST /step HTTP/1.1\r\nHost: loc") // it may be closed already
		if i%64 != 63 {
			continue
		}
		begun := time.Now()
		answer, err := client.Get("http://" + w.addr + "/healthz")
		if err != nil {
			t.Fatalf("after %d half-sent requests: %v\n%s", i+1, err, w.out)
		}
		answer.Body.Close()
		slowest = max(slowest, time.Since(begun))
		s.say(pair, fmt.Sprintf("1,4.%03d,V\n", i))
	}
	t.Logf("the slowest of 20 answers took %v", slowest.Round(time.Millisecond))
	if slowest > 20*time.Second { // far above what is needed, because other tests run beside this one
		t.Errorf("an answer took %v", slowest)
	}
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 20`)
	if err := limited.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := limited.Wait(); err != nil {
		t.Fatalf("%v\n%s", err, w.out)
	}
	if n := s.heldIn("shelf.db"); n != 20 {
		t.Errorf("%d readings are stored", n)
	}
}
