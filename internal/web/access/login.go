package access

import (
	_ "embed"
	"html/template"
	"net/http"
	"strings"
	"time"
)

// styleSheet is the path of the log-in page's style sheet.
const styleSheet = "/login.css"

//go:embed login.css
var styleText []byte

//go:embed login.html
var pageText string

var pageTemplate = template.Must(template.New("login").Parse(pageText))

// logIn is what the page to log in shows.
type logIn struct {
	To    string // path to go on to
	Why   string // the last try failed; "" = there was none
	Again bool   // load To again, instead of asking
}

func writePage(w http.ResponseWriter, code int, page logIn) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	_ = pageTemplate.Execute(w, page) // an error means that the client is gone
}

func serveStyle(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	_, _ = w.Write(styleText) // an error means that the client is gone
}

func (g *Guard) logInPage(w http.ResponseWriter, r *http.Request) {
	writePage(w, http.StatusOK, logIn{To: "/"})
}

// logIn begins a session if the form holds the token or the secret of a link.
func (g *Guard) logIn(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4*maxLength)
	if err := r.ParseForm(); err != nil {
		http.Error(w, "the body is not the form of the page", http.StatusBadRequest)
		return
	}
	to := ownPath(r.PostForm.Get("to"))
	given := strings.TrimSpace(r.PostForm.Get("token"))
	if given == "" { // it was not filled in: not a wrong one
		g.notLoggedIn(w, to, 0, "Type the token of this watch.")
		return
	}
	v, link, wait := g.check(r, given)
	if !v.MayRead {
		g.notLoggedIn(w, to, wait, "This is not the token of this watch.")
		return
	}
	g.begin(w, r, link)
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// enterByLink begins a session by a link's secret.
func (g *Guard) enterByLink(w http.ResponseWriter, r *http.Request) {
	v, link, wait := g.check(r, r.PathValue("secret"))
	if link == nil { // the token is not accepted in an address
		why := "This link was withdrawn, or is not whole."
		if v.MayRead {
			why = "A token in an address is not accepted."
		}
		g.notLoggedIn(w, "/", wait, why)
		return
	}
	g.begin(w, r, link)
	// Not a redirect: after one from another site the browser would keep the cookie back.
	writePage(w, http.StatusOK, logIn{To: "/", Again: true})
}

func (g *Guard) begin(w http.ResponseWriter, r *http.Request, link *Link) {
	token, _ := g.secrets()
	name := ""
	if link != nil {
		name = link.Name
	}
	g.options.Log.Info("logged in", "from", r.RemoteAddr, "link", name)
	g.beginSession(w, r, token, link)
}

func (g *Guard) notLoggedIn(w http.ResponseWriter, to string, wait time.Duration, why string) {
	code := http.StatusUnauthorized
	if wait > 0 {
		code = http.StatusTooManyRequests
		why = "Too many wrong tokens. Wait " + wait.String() + "."
		w.Header().Set("Retry-After", strings.TrimSuffix(wait.String(), "s"))
	}
	writePage(w, code, logIn{To: to, Why: why})
}

func (g *Guard) logOut(w http.ResponseWriter, r *http.Request) {
	g.endSession(w, r)
	http.Redirect(w, r, "/login", http.StatusSeeOther)
}

// ownPath returns a path of this server, "/" where it is none: a form must not lead to
// another site.
func ownPath(path string) string {
	if !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n\t") {
		return "/"
	}
	return path
}
