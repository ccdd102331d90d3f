package port_test

import (
	"io"
	"testing"
	"time"

	"ohmkeep/internal/instrument/port"
)

// answering is a device that answers one query and is then gone.
type answering struct{ asked chan struct{} }

func (a answering) Write(data []byte) (int, error) {
	close(a.asked)
	time.Sleep(100 * time.Microsecond) // the answer is heard before the question has been said
	return len(data), nil
}

func (a answering) Read(buffer []byte) (int, error) {
	<-a.asked
	return 0, io.EOF
}

func (answering) Close() error { return nil }

// A write that the device has received succeeds even if the port ends before it returns.
func TestWriteBeforeTheEnd(t *testing.T) {
	t.Parallel()
	for range 50 {
		p := port.Over(answering{make(chan struct{})}, port.Lines("\n"), time.Now)
		if err := p.Write(t.Context(), []byte("READ?\n")); err != nil {
			t.Fatal(err)
		}
		_ = p.Close() // it is gone
	}
}
