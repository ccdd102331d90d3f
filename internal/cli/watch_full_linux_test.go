package cli

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"ohmkeep/internal/watch/watchtest"
)

var fullWaiting = flag.Int("waiting", 0, "how many readings come while the disk is full; 450,000 are more than there is room for; 0 leaves the test to packages store and recorder")

// unitMemory is what the unit grants the watch (MemoryMax and GOMEMLIMIT).
const unitMemory, unitHeap = 128 << 20, "GOMEMLIMIT=80MiB"

// While the disk is full readings wait within the memory that the unit grants, and are
// stored when there is room again; what there is no room for is counted. The kernel's
// memory controller holds the limit where a test may use it; elsewhere the process's
// greatest resident set is compared with it.
func TestFullDisk(t *testing.T) {
	if *fullWaiting == 0 {
		t.Skip("takes its time: -waiting 15000 (TestDiskFull of package recorder and TestDiskFullAndBack of package store do the same without a process)")
	}
	s := newSession(t)
	if err := os.Mkdir("disk", 0o755); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mount("none", "disk", "tmpfs", 0, "size=4m"); err != nil {
		t.Skip("a small disk needs a mount, as root: ", err)
	}
	defer func() { _ = unix.Unmount("disk", unix.MNT_DETACH) }()
	s.write("hall.toml", wideHall(s, 1))
	pair := s.terminal()
	if err := os.Symlink(pair.Path, "board0"); err != nil {
		t.Fatal(err)
	}
	w := &watching{session: s, addr: s.freeAddress(), out: &watchtest.Log{}}
	program := process("watch", "hall.toml", "--store", "disk/hall.db", "--listen", w.addr, "--commit", "2ms")
	program.Env = append(program.Env, unitHeap)
	program.Stderr = w.out
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { // it has ended already if all is well
		_ = program.Process.Kill()
		_ = program.Wait()
	}()
	peakOf := limited(t, program.Process.Pid)
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
	fill(t, "disk/filler")
	said := 0
	speak := func(scans int) {
		var lines strings.Builder
		for i := range 16 * scans {
			fmt.Fprintf(&lines, "%d,%.4f,V\n", i%16, 4.8+float64(said*7919%997)/1e4)
			said++
		}
		s.say(pair, lines.String())
	}
	// The store's log is on the disk already, and commits go on until it is full.
	w.until("the disk is full", func() bool {
		speak(1)
		status, _ := w.ask("GET", "/healthz", "")
		return status == 503
	})
	for range *fullWaiting / 160 {
		speak(10)
	}
	count := func(metric string) int {
		_, text := w.ask("GET", "/metrics", "")
		return sumOf(text, metric)
	}
	w.until("all heard", func() bool {
		return count("ohmkeep_queue_readings")+count("ohmkeep_readings_total")+count("ohmkeep_dropped_readings_total") >= said
	})
	waiting, lost := count("ohmkeep_queue_readings"), count("ohmkeep_dropped_readings_total")
	peak := peakOf()
	_, resident := heldBy(t, program.Process.Pid)
	if err := os.Remove("disk/filler"); err != nil {
		t.Fatal(err)
	}
	// The disk is small: a larger one takes its place.
	if err := unix.Mount("none", "disk", "tmpfs", unix.MS_REMOUNT, "size=200m"); err != nil {
		t.Fatal(err)
	}
	w.until("all stored", func() bool { return count("ohmkeep_queue_readings") == 0 })
	if err := program.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := program.Wait(); err != nil {
		t.Fatalf("%v\n%s", err, w.out)
	}
	rows := strings.Count(s.do(`ohmkeep export hall.toml --store disk/hall.db`).exits(Passes).out, "\n") - 1
	a := tally{tried: said, lost: max(0, said-lost-rows), doubled: max(0, rows+lost-said)}
	a.print(t, fmt.Sprintf("readings with a full disk, %d dropped and counted", lost))
	if rows != said-lost {
		t.Errorf("%d readings said, %d lost for want of room, %d stored", said, lost, rows)
	}
	if lost > 0 && waiting < 300_000 {
		t.Errorf("readings were lost with %d waiting", waiting)
	}
	if max(peak, resident) > unitMemory && !raceDetector {
		t.Errorf("%d bytes of memory were taken and %d resident, more than the unit's %d", peak, resident, unitMemory)
	}
	t.Logf("%d readings said, %d waited, %d lost; at most %.1f MB of memory charged, %.1f MB resident", said, waiting, lost, float64(peak)/1e6, float64(resident)/1e6)
}

// fill writes a file until its disk is full.
func fill(t *testing.T, name string) {
	file, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for block := make([]byte, 4096); err == nil; {
		_, err = file.Write(block)
	}
}

// limited puts a process under the unit's limit of memory, by either version of the
// kernel's controller, and returns how much it took at most.
func limited(t *testing.T, pid int) (peak func() int64) {
	t.Helper()
	for root, names := range map[string][2]string{
		"/sys/fs/cgroup/memory": {"memory.limit_in_bytes", "memory.max_usage_in_bytes"},
		"/sys/fs/cgroup":        {"memory.max", "memory.peak"},
	} {
		group := filepath.Join(root, fmt.Sprint("ohmkeep-test-", pid))
		if os.Mkdir(group, 0o755) != nil {
			continue
		}
		put := func(name, text string) error { // the kernel has made the file
			file, err := os.OpenFile(filepath.Join(group, name), os.O_WRONLY, 0)
			if err == nil {
				_, err = file.WriteString(text)
				err = errors.Join(err, file.Close())
			}
			return err
		}
		if put(names[0], strconv.Itoa(unitMemory)) != nil || put("cgroup.procs", strconv.Itoa(pid)) != nil {
			_ = os.Remove(group)
			continue
		}
		t.Cleanup(func() { _ = os.Remove(group) }) // empty once the process has ended
		return func() int64 {
			text, err := os.ReadFile(filepath.Join(group, names[1]))
			if err != nil {
				t.Fatal(err)
			}
			n, err := strconv.ParseInt(strings.TrimSpace(string(text)), 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Log("no memory controller to use here: the resident set is measured, and nothing limits it")
	return func() int64 { _, most := heldBy(t, pid); return most }
}
