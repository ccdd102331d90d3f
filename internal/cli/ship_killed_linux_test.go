package cli

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/watch/watchtest"
)

// The watch that ships, and the server that it ships to, are killed in turn at random moments while a
// board sends. In the end the central database has exactly the readings of the store.
func TestShippingKilled(t *testing.T) {
	server := centraltest.Start(t)
	address := server.Database("ohmkeep")
	s := newSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	addr := s.freeAddress()
	random := rand.New(rand.NewPCG(7, 8))
	said := 0
	for i := range 2 * *kills {
		program := process("watch", "shelf.toml", "--store", "shelf.db", "--commit", "20ms", "--listen", addr, "--ship", address)
		var log bytes.Buffer
		program.Stderr = &log
		if err := program.Start(); err != nil {
			t.Fatal(err)
		}
		w := &watching{session: s, addr: addr, out: &watchtest.Log{}}
		w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
		for range 10 + random.IntN(20) {
			for range 10 {
				said++
				s.say(pair, fmt.Sprintf("1,%d.50,V\n", said))
			}
			time.Sleep(time.Duration(random.IntN(20)) * time.Millisecond)
		}
		if i%2 == 1 {
			server.Kill()
		}
		if err := program.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = program.Wait() // it was killed
		if i%2 == 1 {
			server.Launch()
		}
		s.say(pair, "\n")
	}
	before, err := server.SQL("owner", "ohmkeep", "SELECT count(*) FROM ohmkeep.reading")
	if err != nil {
		before = "none" // each watch was killed before the tables were made
	}
	s.do(`ohmkeep ship shelf.toml --store shelf.db --to ` + address).exits(Passes)
	rows, err := csv.NewReader(strings.NewReader(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out)).ReadAll()
	if err != nil || len(rows) < said/4 {
		t.Fatalf("%d of %d readings are stored, %v", len(rows), said, err)
	}
	var want []string
	for _, row := range rows[1:] {
		want = append(want, row[5])
	}
	out, err := server.SQL("owner", "ohmkeep", "SELECT value FROM ohmkeep.reading ORDER BY at, value::numeric")
	if got := strings.Fields(out); err != nil || !slices.Equal(got, want) {
		t.Errorf("the central database has %d readings, the store %d; %v", len(got), len(want), err)
	}
	t.Logf("%d readings, %s of them arrived before the last kill", len(want), strings.TrimSpace(before))
}

// A destination that takes nothing more (its connection is open, and nothing is read) holds up neither
// the recording nor the end of the watch; later everything arrives.
func TestStalledDestination(t *testing.T) {
	server := centraltest.Start(t)
	address := server.Database("ohmkeep")
	s := newSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	stalled, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer stalled.Close()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	u.Host, u.RawQuery = stalled.Addr().String(), "sslmode=disable"
	w := s.watch("--commit", "20ms", "--ship", u.String(), "--ship-rate", "1000")
	conn, err := stalled.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	for i := range 200 {
		s.say(pair, fmt.Sprintf("1,%d.5,V\n", i))
	}
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 200`)
	begun := time.Now()
	w.cancel()
	if status := <-w.ended; status != Passes || time.Since(begun) > 2*time.Second {
		t.Errorf("exits %d after %v", status, time.Since(begun))
	}
	w.ended <- Passes // for the end of the test
	begun = time.Now()
	const rate = 8000
	s.do(fmt.Sprintf(`ohmkeep ship shelf.toml --store shelf.db --ship-rate %d --to %s`, rate, address)).exits(Passes).prints("200 new readings")
	// 200 readings of 50 bytes and more, less what may be sent at once.
	if took := time.Since(begun); took < time.Duration(200*50-rate/4)*time.Second/rate {
		t.Errorf("200 readings took %v at %d bytes a second", took, rate)
	}
}

// A password in an address is soon hidden from the list of processes, and is in nothing that is printed.
func TestPasswordInArguments(t *testing.T) {
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	args := []string{"fleet", "--db", "postgres://owner:sesame@" + silent.Addr().String() + "/ohmkeep?sslmode=disable"}
	program := exec.Command(os.Args[0], args...)
	program.Env = append(os.Environ(), asProgram+"="+strings.Join(args, "\n"))
	var printed bytes.Buffer
	program.Stdout, program.Stderr = &printed, &printed
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	conn, err := silent.Accept() // by now it has read its arguments
	if err != nil {
		t.Fatal(err)
	}
	list, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", program.Process.Pid))
	if err != nil || strings.Contains(string(list), "sesame") || !strings.Contains(string(list), "******") {
		t.Errorf("%q %v", list, err)
	}
	go func() { _, _ = io.Copy(io.Discard, conn) }()
	time.Sleep(50 * time.Millisecond)
	conn.Close()
	_ = program.Wait() // it cannot connect
	if program.ProcessState.ExitCode() != Wrong || strings.Contains(printed.String(), "sesame") || !strings.Contains(printed.String(), "--password-file") {
		t.Errorf("exits %d\n%s", program.ProcessState.ExitCode(), printed.String())
	}
}
