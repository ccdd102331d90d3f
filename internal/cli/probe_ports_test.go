package cli

import "testing"

// What ports there are depends on the machine; that they can be listed does not.
func TestProbePorts(t *testing.T) {
	s := newSession(t)
	if o := s.do(`ohmkeep probe ports`).exits(Passes); o.out == "" {
		o.says("no serial port was found")
	}
}
