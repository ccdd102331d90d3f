package store

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var syscalls = flag.Int("syscalls", 2, "at how many system calls a rescue and a compact are cut each; 0: at all")

// changing are the system calls by which a program changes files (strace(1); ? = if the kernel has
// it).
const changing = "?write,?pwrite64,?fsync,?fdatasync,?ftruncate,?fallocate,?openat,?open,?rename,?renameat,?renameat2,?link,?linkat,?unlink,?unlinkat,?chmod,?fchmod,?fchmodat,?chown,?fchown,?fchownat"

// linesOf returns the samples of a store as lines, in the form of the tests many and roots, and its
// marks.
func linesOf(t *testing.T, path string) (lines map[string]bool, said []Mark) {
	t.Helper()
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	openWriter(t, s).Close() // as the next watch
	if found, err := s.Check(context.Background()); err != nil || len(found.Faults) > 0 {
		t.Fatalf("%v, %v", found.Faults, err)
	}
	lines = map[string]bool{}
	for x, err := range s.Samples(context.Background(), Selection{Run: cornice.Name}) {
		if err != nil {
			t.Fatal(err)
		}
		line := fmt.Sprint(x.From, x.To, x.Time.UnixNano(), x.Text)
		if lines[line] {
			t.Fatalf("%s is there twice", line)
		}
		lines[line] = true
	}
	marks, err := s.Marks(context.Background(), cornice.Name, start.AddDate(-1, 0, 0), start.AddDate(100, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	return lines, marks
}

// A rescue or a compact is killed at each system call that changes a file. At the next start there
// is the old store or the new one: it holds all that the complete rescue holds, the damaged file is
// unchanged, the new one reports the damage, and no other file is left.
func TestCutAtEachSystemCall(t *testing.T) {
	t.Parallel()
	var a tally
	if _, err := exec.LookPath("strace"); err != nil {
		t.Skip("strace cuts at each system call: ", err)
	}
	base := filepath.Join(t.TempDir(), "a.store")
	lines := many(t, base, 3, 700)
	at := roots(t, base)
	healthy, err := os.ReadFile(base)
	if err != nil {
		t.Fatal(err)
	}
	const page = 1024
	damaged := bytes.Clone(healthy)
	random := rand.New(rand.NewPCG(71, 72))
	for _, table := range []string{"series", "sqlite_autoindex_series_1"} {
		for i := range page {
			damaged[(at[table]-1)*page+i] = byte(random.Uint32())
		}
	}
	for _, c := range []struct {
		task  string
		bytes []byte
	}{{"rescue", damaged}, {"compact", healthy}} {
		// fresh copies the store into a directory of its own.
		fresh := func() (path string) {
			path = filepath.Join(t.TempDir(), "a.store")
			if err := os.WriteFile(path, c.bytes, 0o640); err != nil {
				t.Fatal(err)
			}
			return path
		}
		cut := func(path string, options ...string) error {
			cmd := again(t, c.task, path)
			cmd.Args = append(append([]string{"strace", "-f", "-qq", "-e", "trace=" + changing}, options...), cmd.Path)
			cmd.Path, _ = exec.LookPath("strace") // it was found before
			cmd.Stderr = nil
			return cmd.Run()
		}
		log := filepath.Join(t.TempDir(), "calls")
		whole := fresh()
		if err := cut(whole, "-o", log); err != nil {
			t.Fatalf("%s under strace: %v", c.task, err)
		}
		want, _ := linesOf(t, whole)
		if len(want) < len(lines)*2/3 {
			t.Fatalf("%s: %d of %d readings are left", c.task, len(want), len(lines))
		}
		calls, exchanging := callsOf(t, log)
		places := random.Perm(exchanging) // the exchange first, call by call
		for i := exchanging; i < len(calls); i++ {
			places = append(places, i)
		}
		slices.Reverse(places)
		if *syscalls > 0 && len(places) > *syscalls {
			places = places[:*syscalls]
		}
		old, renewed, ended := 0, 0, 0
		for _, n := range places {
			path := fresh()
			name := fmt.Sprintf("%s cut at call %d of %d (%v)", c.task, n+1, len(calls), calls[n])
			if err := cut(path, "-o", log, "-e", fmt.Sprintf("inject=%s:signal=KILL:when=%d", calls[n].name, calls[n].nth)); err == nil {
				ended++
				continue
			}
			s, err := Open(path)
			if err == nil {
				found, checking := s.Check(context.Background())
				if err = checking; err == nil && len(found.Faults) > 0 {
					err = fmt.Errorf("%s", found.Faults[0])
				}
				s.Close()
			}
			if err == nil {
				renewed++
			} else if old++; c.task == "compact" {
				t.Errorf("%s: %v", name, err)
			} else if _, err := Rescue(context.Background(), path); err != nil {
				t.Errorf("%s: the next rescue: %v", name, err)
			}
			a.tried++
			got, marks := linesOf(t, path)
			for line := range got {
				if !want[line] {
					a.misplaced++
				}
			}
			for line := range want {
				if !got[line] {
					a.lost++
					t.Errorf("%s: %s is lost", name, line)
				}
			}
			left, _ := filepath.Glob(path + "*")
			left = slices.DeleteFunc(left, func(name string) bool {
				return name == path || name == path+"-wal" || name == path+"-shm" || name == path+".lock"
			})
			if c.task == "rescue" {
				if kept, err := os.ReadFile(path + strings.TrimPrefix(slices.Concat(left, []string{""})[0], path)); err != nil || !bytes.Equal(kept, damaged) || len(left) != 1 {
					t.Errorf("%s: the damaged file is not kept: %v, %v", name, left, err)
				}
				if i := slices.IndexFunc(marks, func(m Mark) bool { return m.Kind == MarkDamaged }); i < 0 || len(left) == 0 || !strings.Contains(marks[i].Text, left[0]) {
					a.unsaid++
					t.Errorf("%s: it is not said: %+v", name, marks)
				}
			} else if len(left) > 0 {
				t.Errorf("%s: left %v", name, left)
			}
		}
		t.Logf("%s: cut at %d of %d system calls; the old store was left %d times, the new one %d times, and it had ended %d times",
			c.task, len(places), len(calls), old, renewed, ended)
		if ended > len(places)/10 {
			t.Errorf("%s: only %d of %d calls came again", c.task, len(places)-ended, len(places))
		}
	}
	a.print(t, "a rescue or compact cut at a system call")
}

// call is the nth call of a name by a thread.
type call struct {
	name string
	nth  int
}

var callOf = regexp.MustCompile(`(?m)^(\d+) +(\w+)\(.*$`)

// callsOf returns the calls of the busiest thread of a trace, and the index of the first call of an
// exchange, or the number of calls without one.
func callsOf(t *testing.T, log string) (calls []call, exchanging int) {
	t.Helper()
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	threads, begun, counts := map[string][]call{}, map[string]int{}, map[string]int{}
	busiest := ""
	for _, m := range callOf.FindAllSubmatch(text, -1) {
		thread, name := string(m[1]), string(m[2])
		counts[thread+name]++
		if begun[thread] == 0 && bytes.Contains(m[0], []byte(".exchange")) && bytes.Contains(m[0], []byte("O_CREAT")) {
			begun[thread] = len(threads[thread])
		}
		threads[thread] = append(threads[thread], call{name, counts[thread+name]})
		if len(threads[thread]) > len(threads[busiest]) {
			busiest = thread
		}
	}
	if begun[busiest] == 0 {
		begun[busiest] = len(threads[busiest])
	}
	return threads[busiest], begun[busiest]
}
