package watched

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"ohmkeep/internal/site/browsertest"
	"ohmkeep/internal/web/access"
)

// inToken is the condition that what is typed goes into the field of the token.
const inToken = `document.activeElement?.id == "token"`

// Who has the token logs in, sees the forms, and logs out; a link that gives the right to read
// shows the page without forms, and its stream ends when it is withdrawn.
func TestLogIn(t *testing.T) {
	b := browsertest.Start(t)
	path := filepath.Join(t.TempDir(), "token")
	token, err := access.MakeToken(path)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := access.MakeLink(path, "owner", time.Now())
	if err != nil {
		t.Fatal(err)
	}
	w := begin(t, false, access.Options{TokenFile: path})
	tab := b.Tab(t, browsertest.Phone)
	tab.Open(w.url("/"))
	tab.Until(`document.querySelector("#token")`)
	tab.SmallTargets("log in")
	tab.TooWide("log in")
	tab.Picture("log-in")
	tab.Until(inToken)
	tab.Type("wrong" + kb.Enter)
	tab.Until(`document.querySelector("[role=alert]")?.textContent.includes("not the token")`)
	tab.Until(inToken)
	tab.Type(token + kb.Enter)
	tab.Until(`document.querySelector("h1")?.textContent == "Loft stairs"`)
	tab.Until(value("1", "5.020 V"))
	if text := tab.Text("main"); !strings.Contains(text, "Note a repair") || !strings.Contains(text, "Log out") {
		t.Errorf("logged in:\n%s", text)
	}
	tab.Press(`form[action="/logout"] button`)
	tab.Until(`document.querySelector("#token")`)

	reader := b.Tab(t, browsertest.Desk)
	reader.Open(w.url("/link/" + secret))
	reader.Until(`document.querySelector("h1")?.textContent == "Loft stairs"`)
	reader.Until(value("1", "5.020 V"))
	if text := reader.Text("main"); strings.Contains(text, "Note a repair") || !strings.Contains(text, "gives the right to read") {
		t.Errorf("by the link:\n%s", text)
	}
	reader.Picture("reader")
	if err := access.WithdrawLink(path, "owner"); err != nil {
		t.Fatal(err)
	}
	t.Logf("a link that is withdrawn ends its stream after %v", reader.Until(`document.querySelector(".gone").checkVisibility()`))
	reader.Open(w.url("/"))
	reader.Until(`document.querySelector("#token")`)
}

// The page to log in breaks no rule of axe-core, in either scheme.
func TestLogInIsAccessible(t *testing.T) {
	b := browsertest.Start(t)
	path := filepath.Join(t.TempDir(), "token")
	if _, err := access.MakeToken(path); err != nil {
		t.Fatal(err)
	}
	w := begin(t, false, access.Options{TokenFile: path})
	for _, s := range []browsertest.Screen{browsertest.Phone, browsertest.Desk.InDark()} {
		tab := b.Tab(t, s)
		tab.Open(w.url("/"))
		tab.Until(`document.querySelector("#token")`)
		tab.Picture("log-in")
		tab.Axe("log in")
	}
}
