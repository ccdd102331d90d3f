package scpi_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/instrument/scpi"
	"ohmkeep/internal/reading"
)

// script is an instrument that expects certain lines, and answers each as written. The test fails
// if a line was not sent. The answer "" is silence; one that begins with "late:" comes after the
// next line.
type script struct {
	t       *testing.T
	steps   [][2]string
	answers []string
	late    string
}

func (s *script) Send(_ context.Context, line string) error {
	if len(s.steps) == 0 || s.steps[0][0] != line {
		s.t.Fatalf("sent %q, expected %v", line, s.steps)
	}
	s.answers = nil
	if s.late != "" {
		s.answers, s.late = append(s.answers, s.late), ""
	}
	if a, ok := strings.CutPrefix(s.steps[0][1], "late:"); ok {
		s.late = a
	} else if a != "" {
		s.answers = append(s.answers, strings.Split(a, "|")...)
	}
	s.steps = s.steps[1:]
	return nil
}

func (s *script) Receive(ctx context.Context) (string, error) {
	if len(s.answers) == 0 {
		<-ctx.Done()
		return "", ctx.Err()
	}
	a := s.answers[0]
	s.answers = s.answers[1:]
	return a, nil
}

const (
	none = `0,"No error"`
	who  = "OHMKEEP,SIMULATED METER,0,0"
)

func client(t *testing.T, steps ...[2]string) *scpi.Client {
	s := &script{t: t, steps: steps}
	t.Cleanup(func() {
		if len(s.steps) > 0 && !t.Failed() {
			t.Errorf("never sent: %v", s.steps)
		}
	})
	return &scpi.Client{Conn: s, Identify: "*IDN?", Errors: "SYST:ERR?", Timeout: 20 * time.Millisecond}
}

func TestMeasure(t *testing.T) {
	c := client(t,
		[2]string{"*IDN?", who},
		[2]string{"CONF:VOLT:DC", ""}, [2]string{"SYST:ERR?", none},
		[2]string{"READ?", "+4.8120E+00"}, [2]string{"SYST:ERR?", none},
		[2]string{"MEAS:CURR:DC?", "MEAS:CURR:DC?|+9.9E+37"}, [2]string{"SYST:ERR?", none}) // with its echo
	if id, err := c.Identity(t.Context()); err != nil || id.Model != "SIMULATED METER" {
		t.Fatalf("got %+v, %v", id, err)
	}
	n, err := c.Measure(t.Context(), []string{"CONF:VOLT:DC", "READ?"})
	if err != nil || n.Value != 4.812 || n.Text != "+4.8120E+00" || n.Quality != reading.Good {
		t.Fatalf("got %+v, %v", n, err)
	}
	n, err = c.Measure(t.Context(), []string{"MEAS:CURR:DC?"})
	if err != nil || n.Quality != reading.Overload {
		t.Fatalf("got %+v, %v", n, err)
	}
}

func TestErrorsAreTyped(t *testing.T) {
	c := client(t,
		[2]string{"CONF:VOLT:DC", ""},
		[2]string{"SYST:ERR?", `-113,"Undefined header"`}, [2]string{"SYST:ERR?", `-222,"Data out of range"`}, [2]string{"SYST:ERR?", none})
	_, err := c.Measure(t.Context(), []string{"CONF:VOLT:DC", "READ?"})
	var q scpi.Queue
	if !errors.As(err, &q) || len(q.Errors) != 2 || q.Errors[0].Number != -113 || q.After != "CONF:VOLT:DC" {
		t.Fatalf("got %v", err)
	}
	if want := `CONF:VOLT:DC: the instrument reports -113 "Undefined header", -222 "Data out of range"`; err.Error() != want {
		t.Errorf("got %q, want %q", err, want)
	}
}

// A value that comes together with an error is not a value.
func TestValueWithError(t *testing.T) {
	c := client(t, [2]string{"READ?", "1.0"}, [2]string{"SYST:ERR?", `-230,"Data corrupt or stale"`}, [2]string{"SYST:ERR?", none})
	if n, err := c.Measure(t.Context(), []string{"READ?"}); err == nil {
		t.Fatalf("got %+v", n)
	}
}

func TestNotOneNumber(t *testing.T) {
	for answer, want := range map[string]string{"1,2": "2 numbers", "hello": "not a number"} {
		c := client(t, [2]string{"READ?", answer}, [2]string{"SYST:ERR?", none})
		if _, err := c.Measure(t.Context(), []string{"READ?"}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q in it", answer, err, want)
		}
	}
}

// An answer after the time-out is not taken for the answer to the next query.
func TestLateAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := client(t,
			[2]string{"*IDN?", who},
			[2]string{"MEAS:VOLT:DC?", "late:+4.0"},
			[2]string{"*IDN?", who}, // comes behind the late 4.0
			[2]string{"SYST:ERR?", none},
			[2]string{"MEAS:CURR:DC?", "+2.0"}, [2]string{"SYST:ERR?", none})
		if _, err := c.Identity(t.Context()); err != nil {
			t.Fatal(err)
		}
		if _, err := c.Measure(t.Context(), []string{"MEAS:VOLT:DC?"}); !errors.Is(err, scpi.ErrTimeout) {
			t.Fatalf("got %v, want a time-out", err)
		}
		if n, err := c.Measure(t.Context(), []string{"MEAS:CURR:DC?"}); err != nil || n.Value != 2 {
			t.Fatalf("got %+v, %v, want 2", n, err)
		}
	})
}

func TestCancelledIsNotATimeout(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := client(t, [2]string{"READ?", ""})
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Millisecond)
		defer cancel()
		c.Timeout = time.Minute
		if _, err := c.Measure(ctx, []string{"READ?"}); errors.Is(err, scpi.ErrTimeout) || !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("got %v", err)
		}
	})
}

// Reading an error queue that never reports 0, or a port that only receives noise, ends.
func TestBounds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var endless [][2]string
		for range 40 {
			endless = append(endless, [2]string{"SYST:ERR?", `-100,"Command error"`})
		}
		c := client(t, endless...)
		if found, err := c.Drain(t.Context()); err == nil || len(found) != 40 {
			t.Errorf("got %d entries, %v", len(found), err)
		}
		c = client(t, [2]string{"*IDN?", who}, [2]string{"READ?", ""}, [2]string{"*IDN?", strings.Repeat("noise|", 60)})
		if _, err := c.Identity(t.Context()); err != nil {
			t.Fatal(err)
		}
		if _, err := c.Measure(t.Context(), []string{"READ?"}); !errors.Is(err, scpi.ErrTimeout) || strings.Contains(err.Error(), "\n") {
			t.Errorf("got %v", err)
		}
	})
}

// What an instrument sends in place of 9.9E37 is an overload too: a word, or a number of its own
// such as 1.00000E+9 of meters that do not follow SCPI.
func TestOwnOverload(t *testing.T) {
	for answer, want := range map[string]reading.Quality{"OVLD": reading.Overload, "ovld ": reading.Overload, "+1.0E9": reading.Overload,
		"1.00000E+9": reading.Overload, "+9.9E37": reading.Overload, "1.0E8": reading.Good, "-1.0E9": reading.Good} {
		c := client(t, [2]string{"READ?", answer}, [2]string{"SYST:ERR?", none})
		c.Overload = []string{"OVLD", "1E9"}
		if n, err := c.Measure(t.Context(), []string{"READ?"}); err != nil || n.Quality != want {
			t.Errorf("%q: %+v, %v", answer, n, err)
		}
	}
	c := client(t, [2]string{"READ?", "OVLD"}, [2]string{"SYST:ERR?", none})
	if _, err := c.Measure(t.Context(), []string{"READ?"}); err == nil {
		t.Error("an undeclared word was accepted")
	}
}

func TestText(t *testing.T) {
	c := client(t, [2]string{"CONF?", ` "VOLT 10" `}, [2]string{"SYST:ERR?", none})
	if got, err := c.Text(t.Context(), "CONF?"); err != nil || got != `"VOLT 10"` {
		t.Errorf("%q, %v", got, err)
	}
	c = client(t, [2]string{"CONF?", "x"}, [2]string{"SYST:ERR?", `-113,"Undefined header"`}, [2]string{"SYST:ERR?", none})
	if _, err := c.Text(t.Context(), "CONF?"); err == nil || !strings.Contains(err.Error(), "-113") {
		t.Errorf("got %v", err)
	}
}
