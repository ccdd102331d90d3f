package access

import (
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Limits of wrong secrets. At 60 a minute in all, a token of eight random letters and digits holds
// for millions of years.
const (
	triesEach      = 10
	againEach      = 6 * time.Second // another one for an address
	triesInAll     = 60
	againInAll     = time.Second // another one in all
	maxAddresses   = 1024        // that are kept; about 200 kB
	forgottenAfter = time.Hour   // more than an address needs to have all its tries again
)

// tries limits wrong secrets for each address and in all. An address from which the right one came
// is not subject to the limit in all, so that others cannot keep it out.
type tries struct {
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
	return &tries{inAll: rate.NewLimiter(rate.Every(againInAll), triesInAll), each: map[netip.Addr]*address{}}
}

// try calls check, which reports whether a secret that came from an address is right. If the
// address, or all together, have no try left, check is not called and try returns how long to wait.
func (t *tries) try(from string, now time.Time, check func() bool) (wait time.Duration) {
	t.mu.Lock() // while comparing too, so that no more are tried at a time than are left
	defer t.mu.Unlock()
	key := network(from)
	a := t.each[key]
	if a == nil {
		a = &address{limit: rate.NewLimiter(rate.Every(againEach), triesEach)}
	}
	switch {
	case a.limit.TokensAt(now) < 1:
		return againEach
	case !a.trusted && t.inAll.TokensAt(now) < 1:
		return againInAll
	}
	if check() {
		a.trusted = true
	} else {
		a.limit.AllowN(now, 1)
		t.inAll.AllowN(now, 1)
	}
	a.last = now
	t.keep(key, a, now)
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
