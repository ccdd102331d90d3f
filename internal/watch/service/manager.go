package service

import (
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// notify sends a message to the service manager that started the program, if there is one
// (sd_notify(3)). Errors are ignored, since the watch must go on without a manager.
func notify(message string) { _, _ = daemon.SdNotify(false, message) }

// notifyReloading reports to the manager that the run file is being read again.
func notifyReloading() { notify(daemon.SdNotifyReloading + "\n" + daemon.SdNotifyMonotonicUsec()) }

// watchdog ticks at twice the rate that the service manager's watchdog requires, and never
// if the service manager has no watchdog.
func watchdog() <-chan time.Time {
	interval, err := daemon.SdWatchdogEnabled(false)
	if err != nil || interval <= 0 {
		return nil
	}
	return time.Tick(interval / 2)
}
