package cli

import (
	"context"
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
