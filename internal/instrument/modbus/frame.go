// Package modbus reads registers of slaves on a serial line by Modbus RTU.
//
// Source: the open specifications of the Modbus Organization, "Modbus Application Protocol V1.1b3" and
// "Modbus over Serial Line V1.02". The package is a master that only reads: functions 3 (holding
// registers) and 4 (input registers). It never writes to a slave.
//
// Several slaves share one line. A Bus is the line: one goroutine sends one request at a time, in
// the order in which they were made, and waits for its answer. What a half-duplex adapter echoes is
// left out. An answer with a wrong checksum, of another slave or of another length is refused,
// and the line must be silent before the next request.
//
// The frames are built here because the only library of the protocol that could be had
// (simonvetter/modbus) opens the port by a serial library of its own and takes no other connection.
package modbus

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
)

// Request is a request for registers of one slave.
type Request struct {
	Slave    byte // 1 to 247
	Function byte // 3: holding registers, 4: input registers
	Address  uint16
	Count    uint16 // of registers, 1 to 125
}

// MaxCount is the largest number of registers of a request (application protocol, 6.3 and 6.4).
const MaxCount = 125

// Exception is the answer of a slave that refuses a request.
type Exception byte

// Busy is the exception of a slave that will answer later.
const Busy Exception = 6

// exceptionNames are those of the application protocol, chapter 7.
var exceptionNames = map[Exception]string{1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "slave device failure",
	5: "acknowledge", Busy: "slave device busy", 8: "memory parity error", 10: "gateway path unavailable", 11: "gateway target failed to respond"}

func (e Exception) Error() string {
	if name := exceptionNames[e]; name != "" {
		return fmt.Sprintf("exception %d, %s", byte(e), name)
	}
	return fmt.Sprintf("exception %d", byte(e))
}

// ErrBadFrame is wrapped by the error of an answer that cannot be used.
var ErrBadFrame = errors.New("bad answer")

// CRC returns the checksum of a frame without its last two bytes, which hold it low byte first
// (serial line, 6.2.2).
func CRC(frame []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			odd := crc&1 != 0
			if crc >>= 1; odd {
				crc ^= 0xA001
			}
		}
	}
	return crc
}

// frame returns the request as it is sent.
func (r Request) frame() []byte {
	f := []byte{r.Slave, r.Function}
	f = binary.BigEndian.AppendUint16(f, r.Address)
	f = binary.BigEndian.AppendUint16(f, r.Count)
	return binary.LittleEndian.AppendUint16(f, CRC(f))
}

// Lengths of answers, in bytes.
const (
	requestLength   = 8 // of a request, as an adapter echoes it
	exceptionLength = 5
	overhead        = 5 // slave, function, number of bytes, checksum
)

// find looks for the answer in what was received since the request was sent. An echo and noise
// before the answer are left out: what is found has the right checksum, slave, function and length.
// The echo goes first, because it and a byte 0 may have the form of an answer. The error is an
// Exception.
func (r Request) find(received []byte) (words []uint16, found bool, err error) {
	rest := bytes.TrimPrefix(received, r.frame())
	for i := range rest {
		words, complete, err := r.parseAnswer(rest[i:])
		var refused Exception
		if complete && (err == nil || errors.As(err, &refused)) {
			return words, true, err
		}
	}
	return nil, false, nil
}

// echoOnly reports whether nothing was received but the beginning or all of an echo of the request.
func (r Request) echoOnly(received []byte) bool {
	return bytes.HasPrefix(r.frame(), received)
}

// explain returns why what was received is not an answer.
func (r Request) explain(received []byte) error {
	rest := bytes.TrimPrefix(received, r.frame())
	if _, complete, err := r.parseAnswer(rest); complete {
		return err
	}
	return fmt.Errorf("%w: cut off after %d bytes", ErrBadFrame, len(rest))
}

// parseAnswer reads the answer at the start of f. complete is false where more bytes are needed to
// decide.
func (r Request) parseAnswer(f []byte) (words []uint16, complete bool, err error) {
	switch {
	case len(f) >= 1 && f[0] != r.Slave:
		return nil, true, fmt.Errorf("%w: of slave %d instead of %d", ErrBadFrame, f[0], r.Slave)
	case len(f) < 3:
		return nil, false, nil
	case f[1] == r.Function|0x80:
		if len(f) < exceptionLength {
			return nil, false, nil
		}
		if err := checkSum(f[:exceptionLength]); err != nil {
			return nil, true, err
		}
		return nil, true, Exception(f[2])
	case f[1] != r.Function:
		return nil, true, fmt.Errorf("%w: function %d instead of %d", ErrBadFrame, f[1], r.Function)
	case int(f[2]) != 2*int(r.Count):
		return nil, true, fmt.Errorf("%w: %d bytes of registers instead of %d", ErrBadFrame, f[2], 2*r.Count)
	}
	length := overhead + int(f[2])
	if len(f) < length {
		return nil, false, nil
	}
	if err := checkSum(f[:length]); err != nil {
		return nil, true, err
	}
	words = make([]uint16, r.Count)
	for i := range words {
		words[i] = binary.BigEndian.Uint16(f[3+2*i:])
	}
	return words, true, nil
}

func checkSum(f []byte) error {
	n := len(f) - 2
	if got, want := binary.LittleEndian.Uint16(f[n:]), CRC(f[:n]); got != want {
		return fmt.Errorf("%w: checksum %04X instead of %04X", ErrBadFrame, got, want)
	}
	return nil
}
