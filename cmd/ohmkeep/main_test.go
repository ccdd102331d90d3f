//go:build !windows

package main

import (
	"bufio"
	"errors"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"
)

// deaf is set for a copy of the test that notices the first signal and goes on.
const deaf = "OHMKEEP_TEST_DEAF"

func TestMain(m *testing.M) {
	if os.Getenv(deaf) != "" {
		ctx := interruptible()
		os.Stdout.WriteString("ready\n")
		<-ctx.Done()
		time.Sleep(50 * time.Millisecond) // the second signal counts from when the first has been taken
		os.Stdout.WriteString("heard\n")
		time.Sleep(time.Minute)
	}
	os.Exit(m.Run())
}

// A program that is deaf to its context is killed by the second signal.
func TestSecondSignalKills(t *testing.T) {
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM} {
		program := exec.Command(os.Args[0])
		program.Env = append(os.Environ(), deaf+"=1")
		out, err := program.StdoutPipe()
		if err == nil {
			err = program.Start()
		}
		if err != nil {
			t.Fatal(err)
		}
		defer time.AfterFunc(30*time.Second, func() { _ = program.Process.Kill() }).Stop()
		lines := bufio.NewScanner(out)
		for range 2 { // after "ready", and after "heard"
			if !lines.Scan() {
				t.Fatal("it ended early")
			}
			if err := program.Process.Signal(sig); err != nil {
				t.Fatal(err)
			}
		}
		var ended *exec.ExitError
		if err := program.Wait(); !errors.As(err, &ended) {
			t.Fatalf("%v: %v", sig, err)
		}
		if by := ended.Sys().(syscall.WaitStatus); !by.Signaled() || by.Signal() != sig {
			t.Errorf("%v: ended by %v", sig, ended)
		}
	}
}
