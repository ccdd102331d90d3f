package access

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Policy is the content security policy of every response: a page loads what its own server sends,
// and no script or style stands in the page itself.
const Policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Visitor is who has sent a request, and what the request may do.
type Visitor struct {
	Name              string // of a link; "" otherwise
	MayRead, MayWrite bool
	LoggedIn          bool // by a session cookie, which logging out deletes

	key digest // of the token or link that let the visitor in
}

// visitorKey is the key of the Visitor in a request's context.
type visitorKey struct{}

// VisitorOf returns who has sent a request that a Guard has let in.
func VisitorOf(r *http.Request) Visitor {
	v, _ := r.Context().Value(visitorKey{}).(Visitor)
	return v
}

// Handler returns a handler that lets those requests enter which may. It sets the headers of every
// response, and answers the paths /login, /logout and /link/ itself. What is below the paths in
// assets holds nothing of the run and is served to everyone; each ends in a slash.
func (g *Guard) Handler(h http.Handler, assets ...string) http.Handler {
	mux := http.NewServeMux()
	checked := g.checked(h)
	mux.Handle("/", checked)
	for _, path := range assets {
		mux.HandleFunc("GET "+path, func(w http.ResponseWriter, r *http.Request) {
			if strings.Contains(r.URL.Path, "..") { // written as %2e%2e: it leads out of the assets
				checked.ServeHTTP(w, r)
				return
			}
			h.ServeHTTP(w, r)
		})
	}
	if g.token != nil {
		mux.HandleFunc("GET "+styleSheet, serveStyle)
		mux.HandleFunc("GET /login", g.logInPage)
		mux.HandleFunc("POST /login", g.logIn)
		mux.HandleFunc("POST /logout", g.logOut)
		mux.HandleFunc("GET /link/{secret}", g.enterByLink)
	}
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "a page of another site may not write here", http.StatusForbidden)
	}))
	inner := origin.Handler(mux)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		header := w.Header()
		header.Set("X-Content-Type-Options", "nosniff")
		header.Set("Cache-Control", "no-store")
		header.Set("Content-Security-Policy", Policy)
		header.Set("Cross-Origin-Resource-Policy", "same-origin")
		header.Set("Cross-Origin-Opener-Policy", "same-origin")
		header.Set("Referrer-Policy", "no-referrer")
		inner.ServeHTTP(w, r)
	})
}

// checked returns a handler that lets a request enter if its sender has the right.
func (g *Guard) checked(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		reads := r.Method == http.MethodGet || r.Method == http.MethodHead || r.Method == http.MethodOptions
		v, wait, why := g.identify(r)
		public := g.token == nil || reads && slices.Contains(g.options.Public, r.URL.Path)
		switch {
		case wait > 0:
			g.refuse(w, r, http.StatusTooManyRequests, why, wait)
			return
		case !v.MayRead && public && !g.ownHost(r):
			http.Error(w, "this server is not known as "+oneLine(hostName(r.Host))+"; ohmkeep watch --host adds a name", http.StatusForbidden)
			return
		case g.token == nil && !g.options.Open && proxied(r):
			http.Error(w, "a proxy hands on requests of other machines, and no token is required; --token-file FILE requires one, --open lets everyone enter", http.StatusForbidden)
			return
		case !v.MayRead && !public:
			g.refuse(w, r, http.StatusUnauthorized, why, 0)
			return
		case g.token == nil:
			v = Visitor{MayRead: true, MayWrite: true}
		}
		if !reads && !v.MayWrite {
			http.Error(w, "this link gives the right to read, not to write", http.StatusForbidden)
			return
		}
		ctx := context.WithValue(r.Context(), visitorKey{}, v)
		if v.MayRead && g.token != nil {
			var done func()
			ctx, done = g.whileInForce(ctx, v.key)
			defer done()
		}
		h.ServeHTTP(w, r.WithContext(ctx))
	})
}

// proxied reports whether a proxy says that it hands on the request of another machine (RFC 7239, and what was usual
// before it). Not every proxy does.
func proxied(r *http.Request) bool {
	return r.Header.Get("Forwarded") != "" || r.Header.Get("X-Forwarded-For") != ""
}

// recheckEvery is how often a request that is still being answered is checked again.
const recheckEvery = time.Second

// whileInForce returns a context that ends when the token or link with a digest is withdrawn, so
// that a response that does not end by itself, such as a stream of events, ends then.
func (g *Guard) whileInForce(ctx context.Context, key digest) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(ctx)
	go func() {
		defer cancel()
		tick := time.NewTicker(g.recheck)
		defer tick.Stop()
		for g.inForce(key) {
			select {
			case <-tick.C:
			case <-ctx.Done():
				return
			}
		}
	}()
	return ctx, cancel
}

// inForce reports whether a digest, which was right before, is still that of the token or of a link.
func (g *Guard) inForce(key digest) bool {
	token, links := g.secrets()
	return key == token.digest || slices.ContainsFunc(links, func(l Link) bool { return key == l.sum })
}

// identify returns who has sent a request. Where the sender is unknown, it returns why, and how long
// to wait where too many wrong secrets came.
func (g *Guard) identify(r *http.Request) (v Visitor, wait time.Duration, why string) {
	if g.token == nil {
		return Visitor{}, 0, ""
	}
	given := r.Header.Get("Authorization")
	if scheme, secret, _ := strings.Cut(given, " "); strings.EqualFold(scheme, "Bearer") {
		v, _, wait = g.check(r, strings.TrimSpace(secret))
		return v, wait, "this is not the token"
	} else if given != "" {
		return v, 0, "the token is sent as Authorization: Bearer TOKEN"
	}
	v, ok := g.session(r)
	v.LoggedIn = ok
	if ok {
		return v, 0, ""
	}
	query := r.URL.Query()
	for _, name := range []string{"token", "access_token"} { // RFC 6750, 2.3 and 5.3: logs and histories keep addresses
		if query.Has(name) {
			return Visitor{}, 0, "a token in an address is not accepted; send Authorization: Bearer TOKEN"
		}
	}
	return Visitor{}, 0, "a token is required: Authorization: Bearer TOKEN"
}

// check returns whom a secret lets in, and how long to wait where it is one of too many wrong ones. It compares the secret with
// that of the token and of every link, whichever is the right one.
func (g *Guard) check(r *http.Request, secret string) (v Visitor, link *Link, wait time.Duration) {
	token, links := g.secrets()
	wait = g.tries.try(r.Context(), r.RemoteAddr, g.now(), func() bool {
		given := digestOf(secret)
		if given.equal(token.digest) {
			v = Visitor{MayRead: true, MayWrite: true, key: given}
		}
		for i := range links {
			if given.equal(links[i].sum) {
				v, link = Visitor{Name: links[i].Name, MayRead: true, key: given}, &links[i]
			}
		}
		return v.MayRead
	})
	if wait > 0 {
		g.warnings.Do(func() { g.options.Log.Warn("too many wrong tokens", "from", r.RemoteAddr) })
	}
	return v, link, wait
}

// refuse answers a request that may not enter: a browser gets the page to log in, a program a line.
func (g *Guard) refuse(w http.ResponseWriter, r *http.Request, code int, why string, wait time.Duration) {
	w.Header().Set("WWW-Authenticate", `Bearer realm="ohmkeep"`)
	if wait > 0 {
		seconds := strconv.Itoa(int(wait / time.Second))
		w.Header().Set("Retry-After", seconds)
		why = "too many wrong tokens; wait " + seconds + " s"
	}
	page := logIn{To: "/"}
	if r.Method == http.MethodGet {
		page.To = ownPath(r.URL.RequestURI())
	}
	if !strings.Contains(r.Header.Get("Accept"), "text/html") {
		http.Error(w, why, code)
		return
	}
	if r.Header.Get("Sec-Fetch-Site") == "cross-site" && r.Method == http.MethodGet && wait == 0 {
		// A link on a page of another site led here, so that the browser kept the session
		// cookie back (SameSite=Strict). The same page, loaded by this one, gets it.
		page.Again = true
	}
	if wait > 0 || r.Header.Get("Authorization") != "" {
		page.Why = why
	}
	writePage(w, code, page)
}

// oneLine returns a text with every run of blanks and line ends as one blank.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
