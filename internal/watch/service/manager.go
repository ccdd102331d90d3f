package service

import (
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"
)

// manager speaks to the service manager that started the program, by the open
// protocol of sd_notify(3): datagrams of KEY=VALUE lines to the socket that
// NOTIFY_SOCKET names. Where there is none it says nothing.
type manager struct {
	socket   string
	watchdog time.Duration
}

// newManager reads what the service manager has told.
func newManager(getenv func(string) string) *manager {
	if getenv == nil {
		return &manager{}
	}
	m := &manager{socket: getenv("NOTIFY_SOCKET")}
	if us, err := strconv.ParseInt(getenv("WATCHDOG_USEC"), 10, 64); err == nil && us > 0 {
		m.watchdog = time.Duration(us) * time.Microsecond
	}
	if strings.HasPrefix(m.socket, "@") { // of the abstract namespace
		m.socket = "\x00" + m.socket[1:]
	}
	return m
}

// tell sends a message. That nobody takes it is no reason to stop watching.
func (m *manager) tell(message string) {
	if m.socket == "" {
		return
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: m.socket, Net: "unixgram"})
	if err != nil {
		return
	}
	defer conn.Close()
	_ = conn.SetWriteDeadline(time.Now().Add(time.Second)) // of a socket just opened
	_, _ = conn.Write([]byte(message))
}

// reloading says that the run file is being read anew; the manager wants to know
// since when, by the clock that counts from boot without sleep, and takes this one
// for it where the machine has not slept.
func (*manager) reloading(since time.Duration) string {
	return fmt.Sprintf("RELOADING=1\nMONOTONIC_USEC=%d", since.Microseconds())
}

// beat ticks twice as often as the watchdog wants to hear; never where there is none.
func (m *manager) beat() <-chan time.Time {
	if m.watchdog <= 0 {
		return nil
	}
	return time.Tick(m.watchdog / 2)
}
