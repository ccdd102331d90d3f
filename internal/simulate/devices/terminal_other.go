//go:build !linux

package devices

import "errors"

func NewTerminal() (*Pair, error) {
	return nil, errors.New("pseudo-terminals are made on Linux only")
}
