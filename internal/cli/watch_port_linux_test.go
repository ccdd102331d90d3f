package cli

import (
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/simulate/devices"
)

// A port has one reader: another program is refused while the watch reads, and the watch says in its status that another one
// has the port, which it opens when it is free.
func TestPortHasOneReader(t *testing.T) {
	s := newParallelSession(t)
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	defer pair.Device.Close()
	settings := profile.Port{Baud: 115200, DataBits: 8, StopBits: 1, Terminator: "\n"}
	other, err := port.Open(t.Context(), pair.Path, settings, port.Lines("\n"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	s.write("shelf.toml", shelf+board("board", pair.Path))
	w := s.watchUnready("--commit", "50ms")
	w.until("the status says that the port is in use", func() bool {
		status, text := w.ask("GET", "/status", "")
		return status == 200 && strings.Contains(text, "the port is in use: another program or probe has it open")
	})
	if err := other.Close(); err != nil {
		t.Fatal(err)
	}
	w.shows(`ohmkeep_probe_up{probe="board",run="Book shelf"} 1`)
	s.do(`ohmkeep probe check --profile plain-lines --port ` + pair.Path + ` --seconds 0.1`).refused("the port is in use: another program or probe has it open")
	w.ends()
}
