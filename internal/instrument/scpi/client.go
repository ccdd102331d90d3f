package scpi

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"ohmkeep/internal/reading"
)

// Conn carries lines to and from an instrument. Send discards lines received before it, which
// cannot be an answer.
type Conn interface {
	Send(ctx context.Context, line string) error
	Receive(ctx context.Context) (string, error)
}

// ErrTimeout is wrapped by the error of a query that was not answered in time.
var ErrTimeout = errors.New("no answer")

const (
	maxErrors = 40 // read of one queue; the largest known holds 30; one that never reports 0 is broken
	maxLate   = 40 // lines read until an identity arrives; more of them are noise
)

// Client queries one instrument. It is not safe for concurrent use.
type Client struct {
	Conn     Conn
	Identify string        // the query, *IDN?
	Errors   string        // the query, SYST:ERR?; "" = the instrument has no queue
	Timeout  time.Duration // for one answer
	Overload []string      // answers that mean overload on this instrument, beside ±9.9E37

	identity string // the response to Identify, once known
	late     bool   // an answer is outstanding, and may arrive during the next query
}

// Identity queries the identity of the instrument.
func (c *Client) Identity(ctx context.Context) (Identity, error) {
	response, err := c.ask(ctx, c.Identify)
	if err != nil {
		return Identity{}, err
	}
	id, err := ParseIdentity(response)
	if err != nil {
		return Identity{}, fmt.Errorf("%s: %w", c.Identify, err)
	}
	c.identity = response
	return id, nil
}

// Command sends a command that has no answer, then queries the errors. The error is a Queue if the
// instrument reports any.
func (c *Client) Command(ctx context.Context, command string) error {
	if err := c.discardLate(ctx); err != nil {
		return err
	}
	if err := c.Conn.Send(ctx, command); err != nil {
		return fmt.Errorf("%s: %w", command, err)
	}
	return c.check(ctx, command)
}

// Measure sends all messages but the last as commands and the last as a query, whose answer must be
// one number; then it queries the errors. If the instrument reports an error, the number is not
// returned.
func (c *Client) Measure(ctx context.Context, messages []string) (Number, error) {
	if len(messages) == 0 {
		return Number{}, errors.New("nothing is asked")
	}
	query := messages[len(messages)-1]
	for _, command := range messages[:len(messages)-1] {
		if err := c.Command(ctx, command); err != nil {
			return Number{}, err
		}
	}
	response, err := c.ask(ctx, query)
	if err != nil {
		if !errors.Is(err, ErrTimeout) {
			return Number{}, err
		}
		// Most often the instrument did not know the query; its queue has the error.
		return Number{}, joinErrors(err, c.check(ctx, query))
	}
	number, err := c.number(response)
	if err != nil {
		return Number{}, joinErrors(fmt.Errorf("%s: %w", query, err), c.check(ctx, query))
	}
	if err := c.check(ctx, query); err != nil {
		return Number{}, err
	}
	return number, nil
}

// number parses the response to a measurement: one number, or a text that means overload on this
// instrument.
func (c *Client) number(response string) (Number, error) {
	text := strings.TrimSpace(response)
	for _, said := range c.Overload {
		if strings.EqualFold(text, said) {
			return Number{Text: text, Quality: reading.Overload}, nil
		}
	}
	numbers, err := ParseNumbers(response)
	if err == nil && len(numbers) != 1 {
		err = fmt.Errorf("%d numbers where one was asked for", len(numbers))
	}
	if err != nil {
		return Number{}, err
	}
	for _, said := range c.Overload {
		if limit, err := ParseNumbers(said); err == nil && len(limit) == 1 && limit[0].Value == numbers[0].Value {
			numbers[0].Quality = reading.Overload
		}
	}
	return numbers[0], nil
}

// Text sends a query that is answered with one line, then queries the errors.
func (c *Client) Text(ctx context.Context, query string) (string, error) {
	response, err := c.ask(ctx, query)
	if err != nil {
		return "", err
	}
	return strings.TrimSpace(response), c.check(ctx, query)
}

// Queue holds the errors that an instrument reported after one message.
type Queue struct {
	After  string // the message
	Errors []Error
}

func (q Queue) Error() string {
	texts := make([]string, len(q.Errors))
	for i, e := range q.Errors {
		texts[i] = fmt.Sprintf("%d %q", e.Number, e.Text)
	}
	return fmt.Sprintf("%s: the instrument reports %s", q.After, strings.Join(texts, ", "))
}

// Drain empties the error queue and returns its entries.
func (c *Client) Drain(ctx context.Context) ([]Error, error) {
	if c.Errors == "" {
		return nil, nil
	}
	var found []Error
	for range maxErrors {
		response, err := c.ask(ctx, c.Errors)
		if err != nil {
			return found, err
		}
		e, err := ParseError(response)
		if err != nil {
			return found, fmt.Errorf("%s: %w", c.Errors, err)
		}
		if e.Number == 0 {
			return found, nil
		}
		found = append(found, e)
	}
	return found, fmt.Errorf("%s: still not empty after %d entries", c.Errors, maxErrors)
}

// check empties the error queue after a message.
func (c *Client) check(ctx context.Context, after string) error {
	found, err := c.Drain(ctx)
	if len(found) > 0 {
		return joinErrors(Queue{After: after, Errors: found}, err)
	}
	return err
}

// joinErrors joins two errors in one line; second may be nil.
func joinErrors(first, second error) error {
	if second == nil {
		return first
	}
	return fmt.Errorf("%w; %w", first, second)
}

// ask sends a query and waits for its answer.
func (c *Client) ask(ctx context.Context, query string) (string, error) {
	if err := c.discardLate(ctx); err != nil {
		return "", err
	}
	return c.exchange(ctx, query)
}

func (c *Client) exchange(ctx context.Context, query string) (string, error) {
	if err := c.Conn.Send(ctx, query); err != nil {
		return "", fmt.Errorf("%s: %w", query, err)
	}
	return c.await(ctx, query)
}

// await waits for a line that is not an echo of the query.
func (c *Client) await(ctx context.Context, query string) (string, error) {
	wait, cancel := context.WithTimeout(ctx, c.Timeout)
	defer cancel()
	for {
		response, err := c.Conn.Receive(wait)
		switch {
		case err == nil && strings.TrimSpace(response) == query:
			continue
		case err == nil:
			return response, nil
		}
		c.late = true
		if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
			return "", fmt.Errorf("%s: %w within %v", query, ErrTimeout, c.Timeout)
		}
		return "", fmt.Errorf("%s: %w", query, err)
	}
}

// discardLate makes sure that a late answer is not taken for the next one: it queries the identity,
// which differs from all other answers, and reads until it arrives.
func (c *Client) discardLate(ctx context.Context) error {
	if !c.late || c.identity == "" {
		return nil
	}
	response, err := c.exchange(ctx, c.Identify)
	for range maxLate {
		if err != nil {
			return err
		}
		if response == c.identity {
			c.late = false
			return nil
		}
		response, err = c.await(ctx, c.Identify)
	}
	return fmt.Errorf("%s: %w among %d other lines", c.Identify, ErrTimeout, maxLate)
}
