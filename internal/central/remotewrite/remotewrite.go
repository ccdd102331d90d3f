// Package remotewrite sends a run to a receiver of the open metrics protocol Remote-Write: version
// 2.0 (prometheus.io/docs/specs/prw/remote_write_spec_2_0), or 1.0 where the receiver knows no other.
//
// A sample has the SI value of a reading and its date in milliseconds. Readings of a place in the
// same millisecond are one sample, the last one's. Samples that were sent twice are the same sample;
// a receiver that refuses samples (because they are older than it takes) is reported, and they are
// not sent again, as the protocol demands.
package remotewrite

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/prometheus/client_golang/exp/api/remote"

	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/central/throttle"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// Sink sends a run to a receiver.
type Sink struct {
	address   string
	site, run string
	log       *slog.Logger
	api       *remote.API
	old       bool // the receiver knows version 1.0 alone
	receiver  store.Receiver
	now       func() time.Time
}

// Check returns a fault if a text is not an address of a receiver.
func Check(address string) error {
	u, err := url.Parse(address)
	if err == nil && (u.Scheme == "http" || u.Scheme == "https") && u.Host != "" {
		return nil
	}
	return fault.Fault{Text: fmt.Sprintf("%q is not the address of a receiver", (&Sink{address: address}).Name()), Hint: "such as http://host:9090/api/v1/write"}
}

// requestTimeout is the time-out of a request, with all its bytes.
const requestTimeout = 10 * time.Minute

// NewSink returns a destination of a run: the receiver at a URL, which is sent at most a number of
// bytes a second (0 = no limit).
func NewSink(address string, bytesPerSecond int, site string, r *run.Run, log *slog.Logger) (*Sink, error) {
	if err := Check(address); err != nil {
		return nil, err
	}
	dialer := &net.Dialer{Timeout: 15 * time.Second}
	transport := &http.Transport{Proxy: http.ProxyFromEnvironment, DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := dialer.DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		return throttle.Conn(conn, bytesPerSecond), nil
	}}
	// Failures are tried again by the caller, from the store.
	api, err := remote.NewAPI(address, remote.WithAPIPath(""), remote.WithAPIHTTPClient(&http.Client{Transport: transport, Timeout: requestTimeout}),
		remote.WithAPIBackoff(remote.BackoffConfig{Min: time.Millisecond, Max: time.Millisecond, MaxRetries: 1}), remote.WithAPINoRetryOnRateLimit())
	if err != nil {
		return nil, fault.Fault{Text: (&Sink{address: address}).Name() + ": the address is wrong"}
	}
	return &Sink{address: address, site: site, run: r.Name, log: log, api: api, now: time.Now}, nil
}

// Name returns the receiver's address without a password.
func (s *Sink) Name() string {
	u, err := url.Parse(s.address)
	if err != nil {
		return "the address"
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	return u.String()
}

// Have reports nothing: a receiver does not say what it has.
func (s *Sink) Have(context.Context, string, int64) (store.Arrived, error) {
	return store.Arrived{}, nil
}

// Close does nothing: each request is complete by itself.
func (s *Sink) Close() error { return nil }

// Batch returns about how many readings are sent in a request: a few hundred kB.
func (s *Sink) Batch() int { return 5000 }

// Permanent reports false: what a receiver refuses for good is reported, and not sent again.
func (s *Sink) Permanent(error) bool { return false }

// Send sends readings, and when that was.
func (s *Sink) Send(ctx context.Context, d *store.Delivery) error {
	m := newMessage()
	for i := range d.Readings {
		x := &d.Readings[i]
		if !x.Quality.Measured() {
			continue
		}
		one, err := s.receiver.Reading(x)
		if err != nil {
			return err
		}
		m.add(s.labels(x.Series), one.Value, x.At/int64(time.Millisecond))
	}
	now := s.now()
	m.add([]label{{"__name__", "ohmkeep_heard_timestamp_seconds"}, {"run", s.run}, {"site", s.site}}, float64(now.Unix()), now.UnixMilli())
	return s.write(ctx, m)
}

// metrics are the names of the metrics of readings, and of the labels of their places.
var metrics = [...]struct{ name, from, to string }{
	run.Voltage:     {"ohmkeep_voltage_volts", "from", "to"},
	run.Current:     {"ohmkeep_current_amperes", "feed", ""},
	run.Temperature: {"ohmkeep_temperature_celsius", "at", ""},
}

// labels are those of a series, without empty ones.
func (s *Sink) labels(x *store.Series) []label {
	m := metrics[x.Quantity]
	all := []label{{"__name__", m.name}, {"run", s.run}, {"site", s.site}, {m.from, x.From}}
	for _, more := range []label{{m.to, x.To}, {"step", x.Step}, {"meter", x.Meter}, {"probe", x.Probe}} {
		if more.name != "" && more.value != "" {
			all = append(all, more)
		}
	}
	return all
}

// Describe sends the verdicts, as the watch's own metrics name them.
func (s *Sink) Describe(ctx context.Context, r ship.Description) error {
	m := newMessage()
	at := r.Taken.UnixMilli()
	failing := 0.0
	for _, v := range r.Verdicts {
		if v.Fails {
			failing = 1
		}
		of := func(name string, more ...label) []label {
			return append([]label{{"__name__", name}, {"run", s.run}, {"site", s.site}, {"source", v.Source}, {"kind", string(v.Kind)}, {"name", v.Name}, {"rail", v.Rail.String()}}, more...)
		}
		m.add(of("ohmkeep_resistance_ohms"), v.Ohms, at)
		m.add(of("ohmkeep_resistance_lower_ohms"), v.Low, at)
		m.add(of("ohmkeep_resistance_upper_ohms"), v.High, at)
		for _, name := range ship.Names(v.Source) {
			holds := 0.0
			if name == v.Verdict {
				holds = 1
			}
			m.add(of("ohmkeep_verdict", label{"verdict", name}), holds, at)
		}
	}
	m.add([]label{{"__name__", "ohmkeep_run_failing"}, {"run", s.run}, {"site", s.site}}, failing, at)
	return s.write(ctx, m)
}

// write sends a message as version 2.0; as 1.0 to a receiver that does not confirm it.
func (s *Sink) write(ctx context.Context, m *message) error {
	if !s.old {
		_, err := s.api.Write(ctx, remote.WriteV2MessageType, m.version2())
		if err == nil || !needsVersion1(err) {
			return s.answered(ctx, err)
		}
		s.old = true
	}
	_, err := s.api.Write(ctx, remote.WriteV1MessageType, m.version1())
	return s.answered(ctx, err)
}

// needsVersion1 reports whether a receiver does not know version 2.0: it says so by status 415, or
// answers without the headers that 2.0 demands.
func needsVersion1(err error) bool {
	return strings.Contains(err.Error(), "HTTP status 415") || strings.Contains(err.Error(), "only supports PRW 1.0")
}

// answered returns the error of a request in one line. Samples that the receiver refuses for good
// (status 4xx but 429; 401, 403 and 404 are for a person) are reported, and count as sent.
func (s *Sink) answered(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	text := strings.Join(strings.Fields(err.Error()), " ")
	if code, refused := strings.CutPrefix(text, "server returned HTTP status 4"); refused && !strings.HasPrefix(code, "29") && !strings.HasPrefix(code, "01") &&
		!strings.HasPrefix(code, "03") && !strings.HasPrefix(code, "04") && !strings.HasPrefix(code, "08") {
		s.log.Warn("the receiver refuses samples, which are not sent again", "to", s.Name(), "why", text)
		return nil
	}
	if wrong, ok := errors.AsType[*url.Error](err); ok {
		text = wrong.Err.Error() // the whole one has the address
	}
	return fault.Fault{Text: s.Name() + ": " + text}
}
