package devices

import (
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// terminal is the instrument's end of a pseudo-terminal.
type terminal struct {
	master *os.File
	slave  *os.File // held open, so that the terminal outlives each program that opens its path
}

func NewTerminal() (*Pair, error) {
	blocking, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("pseudo-terminal: %w", err)
	}
	master, err := pollable(blocking)
	if err == nil {
		err = makeRaw(slave)
	}
	if err != nil {
		err = errors.Join(err, slave.Close())
		if master != nil {
			err = errors.Join(err, master.Close())
		}
		return nil, fmt.Errorf("pseudo-terminal: %w", err)
	}
	return &Pair{Device: &terminal{master, slave}, Path: slave.Name()}, nil
}

// pollable returns the same file in a form whose reads end when it is closed; the library leaves it
// blocking.
func pollable(f *os.File) (*os.File, error) {
	fd, err := unix.Dup(int(f.Fd()))
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	unix.CloseOnExec(fd)
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(err, unix.Close(fd), f.Close())
	}
	return os.NewFile(uintptr(fd), f.Name()), f.Close()
}

// makeRaw turns off echo, line editing and signals of a terminal. Otherwise the instrument would
// receive its own output before another program opens the path.
func makeRaw(f *os.File) error {
	t, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, t)
}

func (t *terminal) Read(buffer []byte) (int, error) { return t.master.Read(buffer) }

func (t *terminal) Write(data []byte) (int, error) {
	if err := t.master.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return 0, err
	}
	n, err := t.master.Write(data)
	return ignoreTimeout(n, err, len(data))
}

func (t *terminal) Close() error { return errors.Join(t.master.Close(), t.slave.Close()) }
