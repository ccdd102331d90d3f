package fleet

import (
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/web/access"
)

// has fails the test where a page lacks one of several texts, has one that follows "!", or has them
// in another order.
func has(t *testing.T, text string, parts ...string) {
	t.Helper()
	at := 0
	for _, part := range parts {
		if forbidden, not := strings.CutPrefix(part, "!"); not {
			if strings.Contains(text, forbidden) {
				t.Errorf("%q is in\n%s", forbidden, text)
			}
			continue
		}
		i := strings.Index(text[at:], part)
		if i < 0 {
			t.Errorf("%q is not in its place in\n%s", part, text)
			return
		}
		at += i
	}
}

// The list begins with the verdict on all sites, and has for each site what needs to be known
// before a visit, in the order of the visits. Texts of people do not become part of the page.
func TestSites(t *testing.T) {
	s := serve(t, invent(), access.Options{})
	code, text := get(t, s.URL)
	if code != 200 {
		t.Fatal(code)
	}
	has(t, text, `<div class="verdict fail"><b>FAILING</b> 5 sites: 1 failing, 1 silent, 1 unproven, 1 sound, 1 in repair.`, "4 March 2031", ">all 5<", ">failing 1<", ">in repair 1<",
		`<span class="word fail">failing</span>`, `<a href="/site/7">Map room &lt;b&gt;</a>`, "museum, north wing", "2 Harbour", "2031-02-12", "20 days", "5 min ago",
		"Cornice: joint west-north jumped, 33.8 mΩ of at most 15.0 (drift)", "Cornice: feed far plus drifting, 118.1 mΩ of at most 125.0, at its limit about 2031-05-03 (drift)", "and 1 more",
		"silent", "Lamp shop window", "3 d ago", "unproven", "Observatory stairs", "sound", "Boat house", "in repair<", "until 6 Mar 2031", "Weir", "never",
		"!<b>,", "!style=", "!<script", "!onclick")
}

// A severity and a text choose sites: of a name, place, run, installer or element.
func TestChosenSites(t *testing.T) {
	s := serve(t, invent(), access.Options{})
	for query, want := range map[string][]string{
		"severity=silent":                 {"1 site", "Lamp shop", "!Boat house"},
		"q=HARBOUR":                       {"2 sites", "Map room", "Boat house", "!Weir"},
		"q=east-south":                    {"1 site", "Map room", "!Boat house"},
		"q=workshop":                      {"1 site", "Map room"},
		"q=jetty&severity=sound":          {"1 site with “jetty”", "Boat house"},
		"q=jetty&severity=failing":        {"0 sites", "None."},
		"q=" + url.QueryEscape(`"><b>hm`): {`value="&#34;&gt;&lt;b&gt;hm"`, "None.", "!<b>hm"},
		"severity=nonsense&from=-7":       {"0 sites", "None."},
	} {
		code, text := get(t, s.URL+"/?"+query)
		if code != 200 {
			t.Errorf("%s: %d", query, code)
		}
		has(t, text[strings.Index(text, "<form role"):], want...)
	}
}

// A long list is shown in parts, and each site is in one of them.
func TestLongList(t *testing.T) {
	s := serve(t, invent().many(245), access.Options{})
	seen := map[string]int{}
	next, parts := "/", 0
	for next != "" {
		_, text := get(t, s.URL+next)
		if parts++; len(text) > 100_000 {
			t.Errorf("%s: %d bytes", next, len(text))
		}
		for _, part := range strings.Split(text, `<a href="/site/`)[1:] {
			seen[part[:strings.Index(part, `"`)]]++
		}
		_, rest, found := strings.Cut(text, `href="/?from=`)
		if i := strings.Index(text, ">Further down"); found && i >= 0 {
			if j := strings.LastIndex(text[:i], `href="/?from=`); j >= 0 {
				rest = text[j+len(`href="/?from=`):]
			}
			next = "/?from=" + rest[:strings.Index(rest, `"`)]
		} else {
			next = ""
		}
	}
	for id, n := range seen {
		if n != 1 {
			t.Errorf("site %s is listed %d times", id, n)
		}
	}
	if len(seen) != 250 || parts != 3 {
		t.Errorf("%d sites in %d parts", len(seen), parts)
	}
	if _, text := get(t, s.URL+"/?from=99999"); !strings.Contains(text, "Earlier in the list") {
		t.Errorf("beyond the end:\n%s", text)
	}
}

// The page of a site has what fails in each of its runs, with intervals and limits.
func TestSite(t *testing.T) {
	s := serve(t, invent(), access.Options{})
	_, text := get(t, s.URL+"/site/7")
	has(t, text, "<h1>Map room &lt;b&gt;</h1>", "museum, north wing, 2 Harbour", "<b>FAILING</b> Since 2031-02-12, 20 days ago.",
		"<h2>Cornice</h2>", "Last heard of: 5 min ago.", "Installed by Workshop East.", "12 elements with a verdict, 2 failing, 1 unproven.", ">jumped<", "Joint west-north", ">33.8<", ">33.1 … 34.5<", ">15.0<", ">2031-02-12<", ">drift<",
		"Feed far plus", ">2031-05-03<", "<h2>Plinth</h2>", "Joint east-south", ">open<", ">12000 … ∞<")
	for path, want := range map[string]string{"/site/3": "<b>SILENT</b> Last heard of: 3 d ago.", "/site/5": "<b>IN REPAIR</b> until 6 March 2031", "/site/9": "Everything that has a verdict passes", "/site/4": "not enough readings"} {
		if _, text := get(t, s.URL+path); !strings.Contains(text, want) {
			t.Errorf("%s: no %q in\n%s", path, want, text)
		}
	}
	for _, path := range []string{"/site/8", "/site/", "/site/x", "/site/07", "/nothing"} {
		if code, _ := get(t, s.URL+path); code != 404 {
			t.Errorf("%s: %d", path, code)
		}
	}
}

// A comparison has its interval, and says where no difference is shown.
func TestComparisonsPage(t *testing.T) {
	f := invent()
	s := serve(t, f, access.Options{})
	_, text := get(t, s.URL+"/comparisons")
	has(t, text, "3 comparisons of how fast resistances rise: 1 with a difference shown, at a false discovery rate of 5 %.", "Benjamini and Hochberg",
		`<span class="word fail">difference shown</span>`, "Joint type crimp &lt;small&gt;", "joints", "40, 60", "&#43;8.1", "&#43;6.2", "&#43;3.1 to &#43;9.3",
		"no difference shown", "Installer Workshop East", "−0.4", "−2.1 to &#43;1.3", "too few runs", "Strip batch K7", ">–<")
	f.comparisons = nil
	_, text = get(t, s.URL+"/comparisons")
	has(t, text, "Nothing can be compared", "!<table")
}

// A database that does not answer is said in words without its address. A firm without sites is
// told what to do.
func TestWithoutSites(t *testing.T) {
	f := &fakeFirm{}
	s := serve(t, f, access.Options{})
	_, text := get(t, s.URL)
	has(t, text, `<div class="verdict unproven"><b>NO SITE</b> No site has sent anything yet.`, "None.")
	f.broken = true
	for _, path := range []string{"/", "/site/1", "/comparisons"} {
		code, text := get(t, s.URL+path)
		if code != 503 || !strings.Contains(text, "cannot be read now") || strings.Contains(text, "central.example") {
			t.Errorf("%s: %d %s", path, code, text)
		}
	}
}

// Nothing is written: the pages have no form that sends anything but a search, and answer nothing
// but GET. With a token nothing is shown without it, and a link shows everything.
func TestWhoMayEnter(t *testing.T) {
	path := filepath.Join(t.TempDir(), "token")
	token, err := access.MakeToken(path)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := access.MakeLink(path, "office", time.Now())
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, invent(), access.Options{TokenFile: path})
	for _, page := range []string{"/", "/site/7", "/comparisons"} {
		for _, c := range []struct {
			bearer, method string
			want           int
		}{{"", "GET", 401}, {"wrong", "GET", 401}, {token, "GET", 200}, {secret, "GET", 200}, {token, "POST", 405}, {token, "DELETE", 405}, {secret, "POST", 403}} {
			r, err := http.NewRequest(c.method, s.URL+page, nil)
			if err != nil {
				t.Fatal(err)
			}
			if c.bearer != "" {
				r.Header.Set("Authorization", "Bearer "+c.bearer)
			}
			a, err := http.DefaultClient.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			a.Body.Close()
			if a.StatusCode != c.want {
				t.Errorf("%s %s with %q: %d, want %d", c.method, page, c.bearer, a.StatusCode, c.want)
			}
			if policy := a.Header.Get("Content-Security-Policy"); !strings.HasPrefix(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") {
				t.Error(policy)
			}
		}
	}
	open := serve(t, invent(), access.Options{})
	_, text := get(t, open.URL)
	if n := strings.Count(text, "<form"); n != 1 {
		t.Error(fmt.Sprint(n, " forms"))
	}
}
