package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"syscall"
	"time"
)

// askTimeout is the time-out of a query to a watch.
const askTimeout = 5 * time.Second

// Ask queries the watch at an address, host:port, and returns its status and the JSON as
// received.
func Ask(ctx context.Context, address string) (s Status, raw []byte, err error) {
	ctx, cancel := context.WithTimeout(ctx, askTimeout)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/status", nil)
	if err != nil {
		return s, nil, errors.New("this is not an address such as 127.0.0.1:9477")
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return s, nil, noAnswer(err)
	}
	defer answer.Body.Close()
	const maxAnswer = 1 << 22
	if raw, err = io.ReadAll(io.LimitReader(answer.Body, maxAnswer)); err != nil {
		return s, nil, err
	}
	if answer.StatusCode != http.StatusOK || json.Unmarshal(raw, &s) != nil || s.Schema != 1 {
		return s, nil, errors.New("the program that answers there is no watch of this version")
	}
	return s, raw, nil
}

// noAnswer converts an error of a query into one in plain words.
func noAnswer(err error) error {
	var network net.Error
	var name *net.DNSError
	switch {
	case errors.Is(err, context.Canceled):
		return context.Canceled
	case errors.As(err, &name):
		return fmt.Errorf("no machine is known as %s", name.Name)
	case errors.Is(err, syscall.ECONNREFUSED):
		return errors.New("nothing listens there")
	case errors.As(err, &network) && network.Timeout():
		return fmt.Errorf("no answer within %v", askTimeout)
	case errors.Is(err, io.EOF):
		return errors.New("the connection was closed without an answer")
	}
	return errors.New("it cannot be reached")
}
