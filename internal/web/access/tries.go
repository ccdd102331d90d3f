package access

import (
	"context"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Limits of wrong secrets. Beyond them the right secret is still let in, but secrets are compared one
// after another: at 50 a second, eight random letters and digits (36 to the power of 8) hold for
// more than a thousand years.
const (
	comparedEvery  = 20 * time.Millisecond
	triesEach      = 10
	againEach      = 6 * time.Second // another one for an address
	triesInAll     = 60
	againInAll     = time.Second // another one in all
	maxAddresses   = 1024        // that are kept; about 200 kB
	forgottenAfter = time.Hour   // more than an address needs to have all its tries again
)

// tries limits wrong secrets for each address and in all. An address from which the right one came
// is not subject to the limit in all, so that others cannot slow it down.
type tries struct {
	slow  *rate.Limiter // of comparisons beyond the limits
	mu    sync.Mutex
	inAll *rate.Limiter
	each  map[netip.Addr]*address
}

type address struct {
	limit   *rate.Limiter
	trusted bool // the right secret came from it
	last    time.Time
}

func newTries() *tries {
	return &tries{slow: rate.NewLimiter(rate.Every(comparedEvery), 1), inAll: rate.NewLimiter(rate.Every(againInAll), triesInAll), each: map[netip.Addr]*address{}}
}

// try calls check, which reports whether a secret that came from an address is right. If it is wrong
// and the address, or all together, have no try left, try returns how long to wait. Then check is
// called in turn, so that the right secret is let in from an address that sends wrong ones too.
func (t *tries) try(ctx context.Context, from string, now time.Time, check func() bool) (wait time.Duration) {
	t.mu.Lock() // while comparing too, so that no more are tried at a time than are left
	defer t.mu.Unlock()
	key := network(from)
	if wait = t.wait(key, now); wait > 0 {
		t.mu.Unlock()
		err := t.slow.Wait(ctx)
		t.mu.Lock()
		if err != nil { // the client is gone
			return wait
		}
	}
	a := t.each[key]
	if a == nil {
		a = &address{limit: rate.NewLimiter(rate.Every(againEach), triesEach)}
	}
	a.last = now
	switch {
	case check():
		a.trusted, wait = true, 0
	case wait > 0:
		return wait
	default:
		a.limit.AllowN(now, 1)
		t.inAll.AllowN(now, 1)
	}
	t.keep(key, a, now)
	return wait
}

// wait returns how long it takes until an address may send a wrong secret; t.mu is held.
func (t *tries) wait(key netip.Addr, now time.Time) time.Duration {
	a := t.each[key]
	switch {
	case a != nil && a.limit.TokensAt(now) < 1:
		return againEach
	case (a == nil || !a.trusted) && t.inAll.TokensAt(now) < 1:
		return againInAll
	}
	return 0
}

// keep keeps an address, and forgets others where there are too many: those that can have lost
// nothing by it, or else the one that has been silent longest, untrusted ones first.
func (t *tries) keep(key netip.Addr, a *address, now time.Time) {
	t.each[key] = a
	if len(t.each) <= maxAddresses {
		return
	}
	var oldest netip.Addr
	for k, other := range t.each {
		if now.Sub(other.last) > forgottenAfter {
			delete(t.each, k)
			continue
		}
		chosen := t.each[oldest]
		if chosen == nil || chosen.trusted && !other.trusted || chosen.trusted == other.trusted && other.last.Before(chosen.last) {
			oldest = k
		}
	}
	if len(t.each) > maxAddresses {
		delete(t.each, oldest)
	}
}

// network returns what counts as one address: an IPv4 address, or the /64 of an IPv6 address, all
// of which one customer has (RFC 6177, section 2, common practice). from is host:port.
func network(from string) netip.Addr {
	at, err := netip.ParseAddrPort(from)
	if err != nil {
		return netip.Addr{}
	}
	addr := at.Addr().Unmap().WithZone("")
	if addr.Is6() {
		prefix, _ := addr.Prefix(64) // 64 is not too long
		return prefix.Addr()
	}
	return addr
}
