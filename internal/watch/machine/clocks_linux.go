package machine

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// System returns the clocks of the machine that the program runs on.
func System() Clocks {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		id = []byte(time.Now().Add(-sinceBoot()).UTC().Format("20060102T150405")) // no proc: the boot's date tells it from others
	}
	return system{boot: strings.TrimSpace(string(id)), battery: battery("/sys/class/rtc", runtime.GOARCH)}
}

type system struct {
	boot    string
	battery bool
}

func (system) Wall() time.Time          { return time.Now().Round(0) }
func (system) SinceBoot() time.Duration { return sinceBoot() }
func (s system) Boot() string           { return s.boot }
func (s system) Battery() bool          { return s.battery }

// Synchronised asks the kernel whether a time service steers its clock
// (adjtimex(2): STA_UNSYNC).
func (system) Synchronised() bool {
	var t unix.Timex
	_, err := unix.Adjtimex(&t)
	return err == nil && t.Status&unix.STA_UNSYNC == 0
}

func sinceBoot() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return time.Since(started) // older than any kernel that Go runs on
	}
	return time.Duration(t.Nano())
}

var started = time.Now()

// battery reports whether the kernel took the time from a clock that runs while the
// machine is off: its attribute hctosys says so (kernel documentation, rtc). PCs
// have always had one, which the kernel reads without it.
func battery(class, arch string) bool {
	if arch == "amd64" || arch == "386" {
		return true
	}
	files, _ := filepath.Glob(filepath.Join(class, "rtc*", "hctosys")) // the pattern is sound
	for _, f := range files {
		if set, err := os.ReadFile(f); err == nil && strings.TrimSpace(string(set)) == "1" {
			return true
		}
	}
	return false
}
