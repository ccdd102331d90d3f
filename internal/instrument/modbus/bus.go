package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"time"
)

// ErrNoAnswer is wrapped by the error of a request that a slave does not answer in time.
var ErrNoAnswer = errors.New("does not answer")

const (
	// answerGap is the silence within an answer after which its rest is not expected. The serial line
	// document allows 1.5 characters; USB adapters collect bytes for up to 16 ms.
	answerGap = 100 * time.Millisecond
	// settleGap is the silence that is awaited after a failed request, so that a late answer is
	// not taken for that of the next request.
	settleGap = 50 * time.Millisecond
	// maxReceived bounds what is kept of a line that is never silent: an echo and the longest answer,
	// twice.
	maxReceived = 2 * (requestLength + 256)
)

// Bus is a line with slaves. Its methods may be called from any goroutine.
type Bus struct {
	conn     io.ReadWriteCloser
	gap      time.Duration // silence between two frames
	requests chan *exchange
	received chan []byte   // closed when the reader has ended
	stop     chan struct{} // closed by Close
	stopOnce sync.Once
	ended    chan struct{} // closed when the line is closed
	err      error         // why it ended; to be read after ended is closed

	// The fields below are those of the bus's goroutine.
	lastByte  time.Time // when the line was last in use
	unsettled bool      // the last request failed, so that its answer may still come
	waiting   []*exchange
	slaves    map[byte]presence
	rest      time.Time // until then the line is left to slaves that answer
}

// exchange is a request and its answer.
type exchange struct {
	ctx     context.Context
	request Request
	timeout time.Duration
	answer  chan Answer
}

// Answer is what a slave answered.
type Answer struct {
	Words    []uint16
	Sent     []byte // the request's frame
	Received []byte // what came after it, an echo included
	Err      error  // ErrNoAnswer, ErrBadFrame, an Exception, or that of the port
	Absent   bool   // with ErrNoAnswer: the slave did not answer the request before either, or there was none
}

// NewBus returns a bus on an opened line, which it closes in the end. baud is the rate in bits a
// second.
func NewBus(conn io.ReadWriteCloser, baud int) *Bus {
	b := &Bus{conn: conn, gap: frameGap(baud), requests: make(chan *exchange), received: make(chan []byte, 16),
		slaves: map[byte]presence{}, stop: make(chan struct{}), ended: make(chan struct{})}
	read := make(chan error, 1)
	go func() { read <- b.readAll(); close(b.received) }()
	go b.run(read)
	return b
}

// frameGap returns the silence between two frames: 3.5 characters of 11 bits, above 19,200 baud
// 1.75 ms (serial line, 2.5.1.1).
func frameGap(baud int) time.Duration {
	if baud <= 0 || baud > 19200 {
		return 1750 * time.Microsecond
	}
	return 7 * 11 * time.Second / time.Duration(2*baud)
}

// Read sends a request when its turn comes, and returns its answer. The time-out does not include the wait for
// the turn, which may take half a minute for a slave that did not answer before.
func (b *Bus) Read(ctx context.Context, r Request, timeout time.Duration) Answer {
	x := &exchange{ctx, r, timeout, make(chan Answer, 1)}
	select {
	case b.requests <- x:
	case <-b.ended:
		return Answer{Err: b.err}
	case <-ctx.Done():
		return Answer{Err: ctx.Err()}
	}
	select {
	case a := <-x.answer:
		return a
	case <-b.ended:
		select {
		case a := <-x.answer:
			return a
		default:
			return Answer{Err: b.err}
		}
	case <-ctx.Done():
		return Answer{Err: ctx.Err()}
	}
}

// Close ends the bus and waits until the line is closed.
func (b *Bus) Close() {
	b.stopOnce.Do(func() { close(b.stop) })
	<-b.ended
}

// readAll hands on what the line says until reading fails.
func (b *Bus) readAll() error {
	for {
		buffer := make([]byte, 256)
		n, err := b.conn.Read(buffer)
		if n > 0 {
			select {
			case b.received <- buffer[:n]:
			case <-b.stop:
				return os.ErrClosed
			}
		}
		if err != nil {
			return err
		}
		select {
		case <-b.stop:
			return os.ErrClosed
		default:
		}
	}
}

// run serves requests until the line ends or Close is called, then closes the line.
func (b *Bus) run(read <-chan error) {
	for b.serveNext() {
	}
	b.stopOnce.Do(func() { close(b.stop) })
	closing := b.conn.Close()
	for range b.received { // releases the reader
	}
	b.err = <-read
	if errors.Is(b.err, os.ErrClosed) && closing != nil && !errors.Is(closing, os.ErrClosed) {
		b.err = closing
	}
	close(b.ended)
}

// serveNext serves one request, or waits for what comes next. It returns false when the bus has ended.
func (b *Bus) serveNext() bool {
	b.collect()
	x, wait := b.nextTurn(time.Now())
	if x == nil {
		return b.idle(wait)
	}
	begun := time.Now()
	a := b.serve(x)
	b.lastByte = time.Now()
	var refused Exception
	b.unsettled = a.Err != nil && !errors.As(a.Err, &refused)
	a.Absent = b.note(x.request.Slave, a.Err, begun)
	x.answer <- a
	select {
	case <-b.stop:
		return false
	default:
		return true // the end of the line is noticed by the next call
	}
}

// collect takes the requests that were made meanwhile, and drops those that were cancelled.
func (b *Bus) collect() {
	for {
		select {
		case x := <-b.requests:
			b.waiting = append(b.waiting, x)
			continue
		default:
		}
		break
	}
	b.waiting = slices.DeleteFunc(b.waiting, func(x *exchange) bool { return x.ctx.Err() != nil })
}

// idle waits for a request, or for the given time if it is above 0, and discards what the line says meanwhile. It
// returns false when the bus has ended.
func (b *Bus) idle(wait time.Duration) bool {
	var turn <-chan time.Time
	if wait > 0 {
		turn = time.After(wait)
	}
	select {
	case <-b.stop:
		return false
	case _, ok := <-b.received:
		b.lastByte = time.Now()
		return ok
	case x := <-b.requests:
		b.waiting = append(b.waiting, x)
	case <-turn:
	}
	return true
}

// serve sends one request and waits for its answer.
func (b *Bus) serve(x *exchange) Answer {
	a := Answer{Sent: x.request.frame()}
	if a.Err = b.awaitSilence(x); a.Err != nil {
		return a
	}
	if _, a.Err = b.conn.Write(a.Sent); a.Err != nil {
		b.stopOnce.Do(func() { close(b.stop) })
		return a
	}
	deadline := time.NewTimer(x.timeout)
	defer deadline.Stop()
	var pause <-chan time.Time // the end of an answer that cannot be used
	for {
		select {
		case part, ok := <-b.received:
			if !ok {
				a.Err = io.EOF
				return a
			}
			if a.Received = append(a.Received, part...); len(a.Received) > maxReceived {
				a.Err = fmt.Errorf("%w: the line is never silent", ErrBadFrame)
				return a
			}
			if words, found, err := x.request.find(a.Received); found {
				a.Words, a.Err = words, err
				return a
			}
			if pause = nil; !x.request.echoOnly(a.Received) {
				pause = time.After(answerGap)
			}
		case <-pause:
			a.Err = x.request.explain(a.Received)
			return a
		case <-deadline.C:
			a.Err = fmt.Errorf("%w within %v", ErrNoAnswer, x.timeout)
			if !x.request.echoOnly(a.Received) {
				a.Err = x.request.explain(a.Received)
			}
			return a
		case <-x.ctx.Done():
			a.Err = x.ctx.Err()
			return a
		case <-b.stop:
			a.Err = os.ErrClosed
			return a
		}
	}
}

// awaitSilence waits until the line has been silent for as long as a frame needs.
func (b *Bus) awaitSilence(x *exchange) error {
	gap := b.gap
	if b.unsettled {
		gap = settleGap
	}
	limit := time.NewTimer(x.timeout)
	defer limit.Stop()
	for {
		select {
		case _, ok := <-b.received:
			if !ok {
				return io.EOF
			}
			b.lastByte = time.Now()
		case <-time.After(gap - time.Since(b.lastByte)):
			return nil
		case <-limit.C:
			return fmt.Errorf("%w: the line is never silent", ErrBadFrame)
		case <-x.ctx.Done():
			return x.ctx.Err()
		case <-b.stop:
			return os.ErrClosed
		}
	}
}
