package access

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// sessionTime is how long a log-in lasts.
const sessionTime = 30 * 24 * time.Hour

// ofToken is in the place of a link's id in a session that the token began.
const ofToken = "token"

// A session is kept in its cookie alone: "id.end.mac", where id is that of a link or "token", end a
// Unix time, and mac the HMAC-SHA-256 of both and the link's sum. The server keeps no table of
// sessions that could grow, and a restart ends none. A session ends with its time, with its link,
// or with the token that its key is made of.

// beginSession sets the session cookie of a visitor that a secret has let in.
func (g *Guard) beginSession(w http.ResponseWriter, r *http.Request, t token, l *Link) {
	end := g.now().Add(sessionTime)
	id, sum := ofToken, ""
	if l != nil {
		id, sum = l.id(), l.Sum
	}
	g.setCookie(w, r, fmt.Sprintf("%s.%d.%s", id, end.Unix(), sessionMAC(t, id, end.Unix(), sum)), sessionTime)
}

// endSession deletes the session cookie.
func (g *Guard) endSession(w http.ResponseWriter, r *http.Request) {
	g.setCookie(w, r, "", -time.Second)
}

func (g *Guard) setCookie(w http.ResponseWriter, r *http.Request, value string, age time.Duration) {
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Value: value, Path: "/", MaxAge: int(age / time.Second),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil})
}

// cookieName returns the name of the session cookie. Browsers do not tell the ports of a machine
// apart, so that the name holds the port. Under TLS its prefix makes the browser refuse one that
// another host of the domain sets (RFC 6265bis, 4.1.3).
func cookieName(r *http.Request) string {
	_, port, _ := net.SplitHostPort(r.Host)
	if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		port = "0"
	}
	if r.TLS != nil {
		return "__Host-ohmkeep-" + port
	}
	return "ohmkeep-" + port
}

// session returns whom a session cookie lets in.
func (g *Guard) session(r *http.Request) (Visitor, bool) {
	cookie, err := r.Cookie(cookieName(r))
	if err != nil {
		return Visitor{}, false
	}
	id, rest, _ := strings.Cut(cookie.Value, ".")
	endText, mac, _ := strings.Cut(rest, ".")
	end, err := strconv.ParseInt(endText, 10, 64)
	if err != nil || g.now().Unix() >= end {
		return Visitor{}, false
	}
	token, links := g.secrets()
	v, sum := Visitor{MayRead: true, MayWrite: true, key: token.digest}, ""
	if id != ofToken {
		v, sum = Visitor{}, ""
		for _, l := range links {
			if l.id() == id {
				v, sum = Visitor{Name: l.Name, MayRead: true, key: l.sum}, l.Sum
			}
		}
	}
	want := sessionMAC(token, id, end, sum)
	return v, v.MayRead && digestOf(mac).equal(digestOf(want))
}

func sessionMAC(t token, id string, end int64, sum string) string {
	h := hmac.New(sha256.New, t.session)
	fmt.Fprintf(h, "%s.%d.%s", id, end, sum)
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil))
}

// secrets returns the token and the links in force.
func (g *Guard) secrets() (token, []Link) {
	t, _ := g.token.Value() // faults are in Notes
	links, _ := g.links.Value()
	return t, links
}
