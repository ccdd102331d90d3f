package cli

import (
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"net"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

// publisher publishes numbers in their order, and holds those that the broker has acknowledged.
type publisher struct {
	acknowledged []int
	stop         chan struct{}
	ended        chan struct{}
}

// numbered writes a number as a voltage that any meter shows.
func numbered(n int) string { return fmt.Sprintf("0.%06d", n) }

// number publishes 1, 2, … on the shelf's topic. A number whose acknowledgement does not come is not tried again: the broker may
// have it, and would send it twice by no fault of the watch.
func (p *peer) number(pause time.Duration) *publisher {
	n := &publisher{stop: make(chan struct{}), ended: make(chan struct{})}
	go func() {
		defer close(n.ended)
		for i := 1; ; i++ {
			if p.publish("boards/shelf", fmt.Sprintf(`{"volts": %s}`, numbered(i)), false) {
				n.acknowledged = append(n.acknowledged, i)
			}
			select {
			case <-n.stop:
				return
			case <-time.After(pause):
			}
		}
	}()
	return n
}

func (n *publisher) end() []int {
	close(n.stop)
	<-n.ended
	return n.acknowledged
}

// exportedNumbers returns the numbers of the store in their order.
func (s session) exportedNumbers() (all []int) {
	s.Helper()
	rows, err := csv.NewReader(strings.NewReader(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out)).ReadAll()
	if err != nil {
		s.Fatal(err)
	}
	for _, row := range rows[1:] {
		n, err := strconv.Atoi(strings.TrimPrefix(row[5], "0.")) // the digits are kept
		if err != nil {
			s.Fatalf("%q", row)
		}
		all = append(all, n)
	}
	return all
}

// check compares what is stored with what the broker had acknowledged: each number is there, in order, and what
// is stored again is no more than a broker sends without an acknowledgement.
func (s session) check(stored, acknowledged []int, mayRepeat int) {
	s.Helper()
	seen := map[int]bool{}
	repeated, newest := 0, 0
	for _, n := range stored {
		switch {
		case seen[n]:
			repeated++
		case n < newest:
			s.Errorf("%d is stored after %d", n, newest)
		}
		seen[n] = true
		newest = max(newest, n)
	}
	lost := 0
	for _, n := range acknowledged {
		if !seen[n] {
			lost++
		}
	}
	s.Logf("%d acknowledged, %d stored, %d lost, %d stored again", len(acknowledged), len(stored), lost, repeated)
	if lost > 0 || repeated > mayRepeat || len(acknowledged) == 0 {
		s.Errorf("%d lost, %d stored again (%d may be)", lost, repeated, mayRepeat)
	}
}

// has waits until the newest acknowledged number is stored.
func (s session) has(w *watching, acknowledged []int) {
	s.Helper()
	last := acknowledged[len(acknowledged)-1]
	w.until(fmt.Sprintf("%d is stored", last), func() bool { return slices.Contains(s.exportedNumbers(), last) })
}

// mosquittoInflight is how many messages a mosquitto sends without an acknowledgement (max_inflight_messages
// of its manual).
const mosquittoInflight = 20

// The watch is killed at random moments while a board publishes. What the broker has acknowledged to the
// board is stored.
func TestWatchAtBrokerKilled(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	s.write("shelf.toml", mqttShelf(b.port, ""))
	first := s.watch("--commit", "100ms") // makes the session at the broker
	first.ends()
	numbers := b.connect("", "").number(3 * time.Millisecond)
	rng := rand.New(rand.NewPCG(7, 8))
	addr := s.freeAddress()
	start := func() *exec.Cmd {
		program := process("watch", "shelf.toml", "--store", "shelf.db", "--commit", "1s", "--listen", addr)
		if err := program.Start(); err != nil {
			t.Fatal(err)
		}
		return program
	}
	w := &watching{session: s, addr: addr, out: &watchtest.Log{}}
	for range *kills {
		program := start()
		w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
		time.Sleep(time.Duration(50+rng.IntN(300)) * time.Millisecond)
		if err := program.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = program.Wait() // it was killed
		time.Sleep(100 * time.Millisecond)
	}
	acknowledged := numbers.end()
	program := start()
	s.has(w, acknowledged)
	_ = program.Process.Signal(syscall.SIGTERM)
	_ = program.Wait()
	s.check(s.exportedNumbers(), acknowledged, *kills*mosquittoInflight)
}

// A watch that ends in good order has acknowledged what it stored: nothing is stored again.
func TestWatchAtBrokerEnds(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	s.write("shelf.toml", mqttShelf(b.port, ""))
	s.watch("--commit", "1m").ends()
	numbers := b.connect("", "").number(5 * time.Millisecond)
	for range 3 {
		w := s.watch("--commit", "1m")
		time.Sleep(200 * time.Millisecond)
		w.ends()
	}
	acknowledged := numbers.end()
	w := s.watch("--commit", "100ms")
	s.has(w, acknowledged)
	w.ends()
	s.check(s.exportedNumbers(), acknowledged, 0)
}

// The broker is killed while it is silent for a moment, so that it has written what it acknowledged; is stopped for
// a while, as a machine without time; and both go on. What is published waits meanwhile.
func TestBrokerKilled(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	s.write("shelf.toml", mqttShelf(b.port, "publish = \"house/shelf\"\nevery_seconds = 0.05"))
	w := s.watch("--commit", "100ms")
	board := b.connect("", "", "house/shelf/value/#")
	var acknowledged []int
	number := func(from, to int) {
		for i := from; i <= to; i++ {
			for !board.publish("boards/shelf", fmt.Sprintf(`{"volts": %s}`, numbered(i)), false) {
				time.Sleep(20 * time.Millisecond)
			}
			acknowledged = append(acknowledged, i)
		}
	}
	number(1, 30)
	for i := range 2 {
		time.Sleep(300 * time.Millisecond)
		b.kill()
		w.until("the loss is reported", func() bool {
			_, text := w.ask("GET", "/status", "")
			return strings.Contains(text, "no connection to the broker")
		})
		b.start()
		number(31+20*i, 50+20*i)
	}
	if err := b.program.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	time.Sleep(time.Second)
	if err := b.program.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	number(71, 80)
	s.has(w, acknowledged)
	w.until("the newest value is published", func() bool {
		all := board.payloads("house/shelf/value/voltage/left.start%2B/left.start-")
		return len(all) > 0 && strings.Contains(all[len(all)-1], `"value":0.00008,`)
	})
	w.shows(`ohmkeep_probe_up{probe="board",run="Book shelf"} 1`)
	w.ends()
	s.check(s.exportedNumbers(), acknowledged, 2*mosquittoInflight)
}

// slowLine forwards connections to a broker, and delays every part in both directions.
func (s session) slowLine(port string, delay time.Duration) (slowPort string) {
	s.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		s.Fatal(err)
	}
	s.Cleanup(func() { _ = l.Close() })
	forward := func(to, from net.Conn) {
		defer to.Close()
		type part struct {
			bytes []byte
			due   time.Time
		}
		parts := make(chan part, 1000)
		go func() {
			defer close(parts)
			for {
				buffer := make([]byte, 4096)
				n, err := from.Read(buffer)
				if err != nil {
					return
				}
				parts <- part{buffer[:n], time.Now().Add(delay)}
			}
		}()
		for p := range parts {
			time.Sleep(time.Until(p.due))
			if _, err := to.Write(p.bytes); err != nil {
				return
			}
		}
	}
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", "127.0.0.1:"+port)
			if err != nil {
				_ = near.Close()
				continue
			}
			go forward(far, near)
			go forward(near, far)
		}
	}()
	_, slowPort, _ = net.SplitHostPort(l.Addr().String())
	return slowPort
}

// Over a line that delays everything by 60 ms each way, readings come in their order and once, and are dated with
// little delay although a mosquitto has 20 of them under way at most; what is published follows.
func TestSlowBroker(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	s.write("shelf.toml", mqttShelf(s.slowLine(b.port, 60*time.Millisecond), "publish = \"house/shelf\"\nevery_seconds = 0.2"))
	w := s.watch("--commit", "10s") // waiting messages are committed earlier
	reader := b.connect("", "", "house/shelf/value/#")
	numbers := b.connect("", "").number(10 * time.Millisecond)
	time.Sleep(2 * time.Second)
	acknowledged := numbers.end()
	begun := time.Now()
	last := fmt.Sprintf(`"value":%s,`, strconv.FormatFloat(float64(acknowledged[len(acknowledged)-1])/1e6, 'g', -1, 64))
	w.until("the newest value is published", func() bool {
		all := reader.payloads("house/shelf/value/voltage/left.start%2B/left.start-")
		return len(all) > 0 && strings.Contains(all[len(all)-1], last)
	})
	if took := time.Since(begun); took > 5*time.Second {
		t.Errorf("the newest value came after %v", took)
	}
	w.ends()
	s.check(s.exportedNumbers(), acknowledged, 0)
}
