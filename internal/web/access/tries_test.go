package access

import (
	"crypto/subtle"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"golang.org/x/time/rate"
)

// The path of a comparison is the same for every secret: one comparison of 32 bytes with the token
// and with each link, whether one is equal or not, and wherever a wrong one differs.
func TestComparisonIsConstant(t *testing.T) {
	e := newEntrance(t, Options{})
	var secrets []string
	for i := range 3 {
		secret, err := MakeLink(e.token, fmt.Sprint("link ", i), time.Now())
		if err != nil {
			t.Fatal(err)
		}
		secrets = append(secrets, secret)
	}
	calls, odd := 0, 0
	compare = func(a, b []byte) int {
		calls++
		if len(a) != 32 || len(b) != 32 {
			odd++
		}
		return subtle.ConstantTimeCompare(a, b)
	}
	defer func() { compare = subtle.ConstantTimeCompare }()
	for _, secret := range append(secrets, right, "", "x", right[:len(right)-1]+"?", "?"+right[1:], right+right, strings.Repeat("a", 1000)) {
		calls = 0
		e.ask("GET", "/", "", "Authorization: Bearer "+secret)
		if calls != 4 || odd > 0 {
			t.Errorf("%.30q: %d comparisons, %d of another length", secret, calls, odd)
		}
	}
}

// A flood of wrong tokens is limited for each address and in all, within a bounded memory, and shuts
// out no client with the right token or a cookie.
func TestFlood(t *testing.T) {
	e := newEntrance(t, Options{})
	now := time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC)
	e.guard.now = func() time.Time { return now }
	e.guard.tries.slow.SetLimit(rate.Inf)
	const bearer = "Authorization: Bearer "
	cookie := e.logIn(right)
	e.code(200, "GET", "/", bearer+right, "From: 198.51.100.1:5")
	count := func(from func(i int) string, n int) map[int]int {
		codes := map[int]int{}
		for i := range n {
			answer := e.ask("GET", "/status", "", bearer+fmt.Sprint("guess ", i), "From: "+from(i))
			if codes[answer.StatusCode]++; answer.StatusCode == 429 && answer.Header.Get("Retry-After") == "" {
				t.Fatal("no Retry-After")
			}
		}
		return codes
	}
	one := func(int) string { return "203.0.113.9:77" }
	if codes := count(one, 500); codes[401] != triesEach || codes[429] != 500-triesEach {
		t.Errorf("one address: %v", codes)
	}
	e.code(200, "GET", "/", bearer+right, "From: 203.0.113.9:78") // such as behind the same router
	e.code(429, "GET", "/", bearer+"wrong", "From: 203.0.113.9:78")
	e.code(200, "GET", "/", cookie, "From: 203.0.113.9:79")
	if codes := count(func(i int) string { return fmt.Sprintf("[2001:db8:1:1::%x]:77", i) }, 100); codes[401] != triesEach {
		t.Errorf("one /64: %v", codes)
	}
	many := func(i int) string {
		return netip.AddrPortFrom(netip.AddrFrom4([4]byte{10, byte(i >> 16), byte(i >> 8), byte(i)}), 77).String()
	}
	if codes := count(many, 5000); codes[401] != triesInAll-2*triesEach {
		t.Errorf("many addresses: %v", codes)
	}
	e.code(429, "GET", "/", bearer+"wrong", "From: 192.0.2.99:1")
	e.code(401, "POST", "/login", "From: 192.0.2.99:1")           // no token at all is not a wrong one
	e.code(200, "GET", "/", bearer+right, "From: 198.51.100.1:6") // it was in before
	e.code(200, "GET", "/", cookie)
	// A slow flood from ever new addresses.
	for i := range 4 * maxAddresses {
		now = now.Add(time.Second)
		if i%60 == 0 {
			e.code(200, "GET", "/", bearer+right, "From: 198.51.100.1:7")
		}
		e.guard.tries.try(t.Context(), many(i), now, func() bool { return false })
		if n := len(e.guard.tries.each); n > maxAddresses {
			t.Fatalf("%d addresses are kept", n)
		}
	}
	e.code(200, "GET", "/", bearer+right, "From: 198.51.100.1:8")
	now = now.Add(time.Hour)
	e.code(401, "GET", "/", bearer+"wrong", "From: 203.0.113.9:80")
	e.code(200, "GET", "/", bearer+right, "From: 203.0.113.9:80")
	if n := strings.Count(e.log.String(), "too many wrong tokens"); n != 1 {
		t.Errorf("%d lines of log", n)
	}
}

// Beyond the limit secrets are compared slowly, the right one among them, whichever connections they come by.
func TestSlowComparison(t *testing.T) {
	tries, now := newTries(), time.Now()
	for range triesEach {
		tries.try(t.Context(), "203.0.113.9:77", now, func() bool { return false })
	}
	begun := time.Now()
	for i := range 10 {
		if wait := tries.try(t.Context(), "203.0.113.9:77", now, func() bool { return i%2 == 0 }); (wait == 0) != (i%2 == 0) {
			t.Errorf("%d: wait %v", i, wait)
		}
	}
	if took := time.Since(begun); took < 9*comparedEvery-time.Millisecond {
		t.Errorf("ten comparisons within %v", took)
	}
	if wait := tries.try(t.Context(), "198.51.100.1:5", now, func() bool { return true }); wait != 0 {
		t.Errorf("another address waits %v", wait)
	}
}

// Forms to log in that hold no token, or not all of it, do not count as wrong tokens.
func TestFormsWithoutToken(t *testing.T) {
	e := newEntrance(t, Options{})
	for range 3 * triesEach {
		e.code(401, "POST", "/login", "From: 203.0.113.9:77")
		cut := httptest.NewRequest("POST", "/login", iotest.TimeoutReader(iotest.OneByteReader(strings.NewReader("token=wrong"))))
		cut.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		cut.RemoteAddr = "203.0.113.9:77"
		answer := httptest.NewRecorder()
		if e.guard.Handler(http.NotFoundHandler()).ServeHTTP(answer, cut); answer.Code != 400 {
			t.Fatalf("half a form: %d", answer.Code)
		}
	}
	e.code(401, "GET", "/", "Authorization: Bearer wrong", "From: 203.0.113.9:77")
}
