package store

import (
	"bufio"
	"context"
	"flag"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

var (
	cuts = flag.Int("cuts", 0, "how often the power is cut; needs root")
	wear = flag.Int("wear", 0, "of how many commits the bytes to the device are counted; needs root")
)

// device is a file system on a device of its own. Its writes are counted, and its content is what a
// loss of power would leave.
type device struct {
	image, at string
	name      string // such as loop7
}

func newDevice(t *testing.T) *device {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("needs root, to mount a file system of its own")
	}
	for _, tool := range []string{"losetup", "mkfs.ext4", "mount", "umount"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip(err)
		}
	}
	dir := t.TempDir()
	d := &device{image: filepath.Join(dir, "image"), at: filepath.Join(dir, "at")}
	if err := os.WriteFile(d.image, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(d.image, 96<<20); err != nil {
		t.Fatal(err)
	}
	// Nothing is initialised later, so that the first minutes do not count it.
	command(t, "mkfs.ext4", "-q", "-b", "4096", "-E", "lazy_itable_init=0,lazy_journal_init=0,nodiscard", d.image)
	d.name = mount(t, d.image, d.at)
	return d
}

// mount mounts an image until the test ends and returns the name of its device.
func mount(t *testing.T, image, at string) (name string) {
	t.Helper()
	if err := os.MkdirAll(at, 0o755); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("losetup", "--find", "--show", image).CombinedOutput()
	if err != nil {
		t.Skipf("no loop device: %v: %s", err, out)
	}
	path := strings.TrimSpace(string(out))
	t.Cleanup(func() { exec.Command("losetup", "--detach", path).Run() })
	if out, err := exec.Command("mount", path, at).CombinedOutput(); err != nil {
		t.Skipf("mount: %v: %s", err, out)
	}
	t.Cleanup(func() { exec.Command("umount", at).Run() })
	return filepath.Base(path)
}

func command(t *testing.T, name string, args ...string) {
	t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v: %s", name, err, out)
	}
}

// What is confirmed survives a loss of power: a copy of the device at the moment of a confirmation
// holds it.
func TestPowerCutLosesNothing(t *testing.T) {
	if *cuts == 0 {
		t.Skip("asked for with -cuts")
	}
	random := rand.New(rand.NewPCG(41, 42))
	var a tally
	for cut := range *cuts {
		t.Run(strconv.Itoa(cut), func(t *testing.T) {
			d := newDevice(t)
			t.Setenv(nextVariable, "0")
			t.Setenv(batchVariable, "16")
			cmd := again(t, "write", filepath.Join(d.at, "a.store"))
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			defer cmd.Wait()
			defer cmd.Process.Kill()
			confirmed := 0
			lines := bufio.NewScanner(out)
			for after := 1 + random.IntN(300); after > 0 && lines.Scan(); after-- {
				if lines.Text() != "ready" {
					if confirmed, err = strconv.Atoi(lines.Text()); err != nil {
						t.Fatal(lines.Text())
					}
				}
			}
			cmd.Process.Signal(syscall.SIGSTOP)
			copied := filepath.Join(t.TempDir(), "copy")
			copyFile(t, d.image, copied)
			at := filepath.Join(filepath.Dir(copied), "at")
			mount(t, copied, at)
			n := a.held(t, filepath.Join(at, "a.store"))
			a.tried++
			a.lost += max(0, confirmed-n)
			if n < confirmed || n%16 != 0 {
				t.Errorf("%d samples, %d confirmed", n, confirmed)
			}
		})
	}
	if !t.Failed() && a.tried < *cuts {
		t.Skipf("%d of %d cuts: no file system of its own could be mounted", a.tried, *cuts)
	}
	a.print(t, "the power cut on a device of its own")
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
}

// written returns what the kernel has counted of a device: bytes written, and flushes (Linux,
// Documentation/block/stat.rst: fields 7, in sectors of 512 bytes, and 16).
func (d *device) written(t *testing.T) (bytes, flushes int) {
	t.Helper()
	command(t, "sync", "-f", d.at)
	text, err := os.ReadFile("/sys/block/" + d.name + "/stat")
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Fields(string(text))
	if len(fields) < 16 {
		t.Skip("this kernel does not count flushes")
	}
	sectors, _ := strconv.Atoi(fields[6])
	flushes, _ = strconv.Atoi(fields[15])
	return sectors * 512, flushes
}

// A commit of 16 readings or of 160 costs one flush and at most 9.5 kB, folding
// and moving the log into the database included.
func TestCommitCost(t *testing.T) {
	if *wear == 0 {
		t.Skip("asked for with -wear")
	}
	for _, scans := range []int{1, 10} {
		d := newDevice(t)
		s, err := Open(filepath.Join(d.at, "a.store"))
		if err != nil {
			t.Fatal(err)
		}
		w := openWriter(t, s)
		m := newMonths(t, w)
		step := func(commits int) {
			var samples []Sample
			for range commits {
				samples = samples[:0]
				for range scans {
					samples = m.scan(samples)
				}
				// Longer than a tick of the kernel's clock, so that each commit gives
				// the log's file a time of its own, as one in ten seconds does.
				time.Sleep(12 * time.Millisecond)
				if err := w.Append(context.Background(), samples); err != nil {
					t.Fatal(err)
				}
			}
		}
		step(300)
		bytes, flushes := d.written(t)
		step(*wear)
		moreBytes, moreFlushes := d.written(t)
		each, flushed := float64(moreBytes-bytes)/float64(*wear), float64(moreFlushes-flushes)/float64(*wear)
		t.Logf("%d readings a commit: %.0f bytes, %.3f flushes", 16*scans, each, flushed)
		if each > 9500 || flushed > 1.1 {
			t.Errorf("%d readings a commit: %.0f bytes, %.3f flushes", 16*scans, each, flushed)
		}
		w.Close()
		s.Close()
	}
}

// A full disk refuses commits; nothing confirmed is lost. With space again commits succeed.
func TestDiskFullAndBack(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("needs root, to mount a small file system")
	}
	at := t.TempDir()
	size, rounds := "size=1400k", 1
	if *thorough {
		size, rounds = "size=2m", 2
	}
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", size, "tmpfs", at).CombinedOutput(); err != nil {
		t.Skipf("mount: %v: %s", err, out)
	}
	defer exec.Command("umount", at).Run()
	ctx := context.Background()
	path := filepath.Join(at, "a.store")
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	w := openWriter(t, s)
	handles, err := numberedHandles(w)
	if err != nil {
		t.Fatal(err)
	}
	next, refused := 0, 0
	commit := func() error {
		var samples []Sample
		for i := range 4000 {
			samples = append(samples, numbered(handles, next+i))
		}
		err := w.Append(ctx, samples)
		if err == nil {
			next += len(samples)
		}
		return err
	}
	ballast := filepath.Join(at, "ballast")
	for range rounds {
		file, err := os.Create(ballast)
		if err != nil {
			t.Fatal(err)
		}
		io.Copy(file, io.LimitReader(zeros{}, 64<<20)) // up to its end
		file.Close()
		for range 2000 {
			if err := commit(); err != nil {
				if !strings.Contains(err.Error(), "the disk is full") {
					t.Errorf("refused with: %v", err)
				}
				refused++
				break
			}
		}
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
		if err := commit(); err != nil {
			t.Errorf("with room again: %v", err)
		}
	}
	if refused != rounds {
		t.Errorf("the disk was full %d times of %d", refused, rounds)
	}
	w.Close()
	s.Close()
	if n := held(t, path); n != next {
		t.Errorf("%d samples, %d confirmed", n, next)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }
