package ship

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/run/runtest"
)

// named is an invented run with every name that has a code.
var named = "site = \"Hall \\u0023 7\" # a comment about Mrs Owner\n" + runtest.Strip("Shelf of Mrs Owner") + runtest.Reels(1, "west", "north") + runtest.Feed("west.start", "16 AWG") + runtest.White("check", 0.2) +
	"# another comment\n[installation]\nfor = \"Mrs Owner\"\nplace = 'Under the # roof'\ninstaller = \"Workshop\"\n"

func codes(t *testing.T, text, secret string) (*Codes, error) {
	t.Helper()
	r, err := runfile.Parse("run.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(file, []byte(secret+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return NewCodes(file, r)
}

func TestCodes(t *testing.T) {
	text := strings.Replace(named, `\u0023`, "no", 1)
	c, err := codes(t, text, "a secret of the firm")
	if err != nil {
		t.Fatal(err)
	}
	coded, err := c.File(text)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"Owner", "Hall", "roof", "Workshop", "Shelf", "comment"} {
		if strings.Contains(coded, name) || strings.Contains(c.Text("re-made joint 1 for Mrs Owner, Workshop"), name) {
			t.Errorf("%q is in what is sent:\n%s", name, coded)
		}
	}
	if got := c.Text("re-made joint west-north for Workshop"); got != "re-made joint west-north for "+c.Run().Installation.Installer {
		t.Error(got)
	}
	again, err := codes(t, strings.ReplaceAll(text, "Mrs Owner", "Mr Other"), "a secret of the firm")
	if err != nil || again.Run().Installation.Installer != c.Run().Installation.Installer || again.Run().Name == c.Run().Name {
		t.Errorf("codes of two runs: %+v, %+v, %v", c.code, again.code, err)
	}
	if other, err := codes(t, text, "the secret of another firm"); err != nil || other.Run().Name == c.Run().Name {
		t.Error("another secret gives the same codes", err)
	}
}

// What cannot be replaced for certain is refused.
func TestCodesThatWouldChangeTheRun(t *testing.T) {
	for why, text := range map[string]string{
		"an escape":          named,
		"a reel of the name": strings.ReplaceAll(strings.Replace(named, `\u0023`, "no", 1), "Workshop", "west"),
	} {
		c, err := codes(t, text, "a secret of the firm")
		if err != nil {
			t.Fatal(err)
		}
		if coded, err := c.File(text); err == nil || !strings.Contains(err.Error(), "cannot be replaced") {
			t.Errorf("%s: %v\n%s", why, err, coded)
		}
	}
	if _, err := codes(t, strings.Replace(named, `\u0023`, "no", 1), "short"); err == nil {
		t.Error("a short secret is taken")
	}
}
