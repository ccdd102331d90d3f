package port

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"

	"ohmkeep/internal/instrument/profile"
)

// A port has one reader, also when the program runs as root, which the exclusive mode of ioctl_tty(2)
// does not bind, and when the second one names the device by another path. Another process is refused
// alike, because flock(2) belongs to the opening and not to the process.
func TestPortInUse(t *testing.T) {
	t.Parallel()
	board, device, err := pty.Open()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	defer board.Close() // and no sooner: without it the terminal is gone
	defer device.Close()
	byID := filepath.Join(t.TempDir(), "by-id")
	if err := os.Symlink(device.Name(), byID); err != nil {
		t.Fatal(err)
	}
	settings := profile.Port{Baud: 115200, DataBits: 8, StopBits: 1, Terminator: "\n"}
	first, err := Open(t.Context(), device.Name(), settings, Lines("\n"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{device.Name(), byID} {
		if p, err := Open(t.Context(), path, settings, Lines("\n"), time.Now); !errors.Is(err, ErrInUse) {
			t.Errorf("%s: got %v, %v", path, p, err)
		}
		if p, err := OpenRaw(t.Context(), path, settings); !errors.Is(err, ErrInUse) {
			t.Errorf("%s by bytes: got %v, %v", path, p, err)
		}
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := OpenRaw(t.Context(), byID, settings)
	if err != nil {
		t.Fatal("after closing: ", err)
	}
	if err := again.Close(); err != nil {
		t.Fatal(err)
	}
}
