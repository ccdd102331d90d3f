package cli

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"runtime/debug"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// asProgram is the environment variable whose lines are the arguments with which the test's
// binary runs as the program.
const asProgram = "OHMKEEP_TEST_ARGUMENTS"

func TestMain(m *testing.M) {
	if args := os.Getenv(asProgram); args != "" {
		ctx, _ := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		os.Exit(Run(ctx, strings.Split(args, "\n"), os.Stdin, os.Stdout, os.Stderr))
	}
	usualPace.first = time.Hour // what is said must not depend on how busy the machine is
	freeHeap()
	if err := flag.Set("test.parallel", "8"); err != nil { // tests that run beside others mostly wait
		panic(err)
	}
	os.Exit(m.Run())
}

// freeHeap lets the heap of the tests grow. The first command that reads a store would limit it for the
// whole process (limitHeap), and collecting garbage would then take half of the tests' time.
func freeHeap() {
	const percent = 400
	if err := os.Setenv("GOGC", strconv.Itoa(percent)); err != nil {
		panic(err)
	}
	debug.SetGCPercent(percent)
}

// process returns the program as a process of its own, to be killed, interrupted or measured. Its heap
// is limited as in use.
// A program under the race detector sleeps for a second before it exits unless GORACE says
// otherwise (Go's article on the race detector, option atexit_sleep_ms).
func process(args ...string) *exec.Cmd {
	program := exec.Command(os.Args[0])
	program.Env = append(os.Environ(), asProgram+"="+strings.Join(args, "\n"), "GORACE=atexit_sleep_ms=0 "+os.Getenv("GORACE"), "GOGC=")
	return program
}

// finish runs a program to its end and returns the most memory, in bytes, that it had resident by the
// kernel's figures (VmHWM of proc(5)); 0 where there is no /proc. The kernel's count for a parent,
// ru_maxrss, has the memory of this test in it, too.
func finish(program *exec.Cmd) (most int64, err error) {
	if err := program.Start(); err != nil {
		return 0, err
	}
	done := make(chan error)
	go func() { done <- program.Wait() }()
	for {
		select {
		case err := <-done:
			return most, err
		case <-time.After(2 * time.Millisecond):
			status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", program.Process.Pid)) // gone at the end
			_, after, _ := strings.Cut(string(status), "VmHWM:")
			var kib int64
			_, _ = fmt.Sscan(after, &kib)
			most = max(most, kib<<10)
		}
	}
}

// processorTime returns the processor time of a program that has ended. Unlike its duration, it depends little on
// what else the machine does.
func processorTime(program *exec.Cmd) time.Duration {
	return program.ProcessState.UserTime() + program.ProcessState.SystemTime()
}
