//go:build !linux

package bench

import "errors"

func newTerminal() (*Pair, error) {
	return nil, errors.New("pseudo-terminals are made on Linux only")
}
