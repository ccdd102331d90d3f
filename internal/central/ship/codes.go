package ship

import (
	"cmp"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"fmt"
	"os"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/store"
)

// Codes replaces the names of a run, its site, its owner, its place and its installer by codes. A
// name has the same code wherever the same secret is used, so that installers can still be compared;
// without the secret no name follows from a code. Names of reels, feeds and joints stay.
type Codes struct {
	run  *run.Run
	code map[string]string // by name
}

// minSecret is the smallest number of characters of a secret.
const minSecret = 16

// NewCodes returns the codes of a run's names, by the secret in the first line of a file.
func NewCodes(file string, r *run.Run) (*Codes, error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, fault.Fault{File: file, Text: fault.Cause(err).Error()}
	}
	secret, _, _ := strings.Cut(string(b), "\n")
	if secret = strings.TrimSpace(secret); len(secret) < minSecret {
		return nil, fault.Fault{File: file, Text: fmt.Sprintf("the secret is shorter than %d characters", minSecret), Hint: "its first line is the secret; openssl rand -hex 16 makes one"}
	}
	c := &Codes{r, map[string]string{}}
	for _, n := range [][2]string{{"run", r.Name}, {"site", r.Site}, {"owner", r.Installation.For}, {"place", r.Installation.Place}, {"installer", r.Installation.Installer}} {
		if n[1] != "" && c.code[n[1]] == "" {
			sum := hmac.New(sha256.New, []byte(secret))
			sum.Write([]byte(n[1]))
			c.code[n[1]] = fmt.Sprintf("%s-%x", n[0], sum.Sum(nil)[:6])
		}
	}
	return c, nil
}

// Run returns the run with codes for its names.
func (c *Codes) Run() *run.Run {
	coded := *c.run
	coded.Name, coded.Site = c.code[c.run.Name], c.code[c.run.Site]
	i := &coded.Installation
	i.For, i.Place, i.Installer = c.code[i.For], c.code[i.Place], c.code[i.Installer]
	return &coded
}

// Text returns a text with codes for the names in it.
func (c *Codes) Text(text string) string {
	var names []string
	for name := range c.code {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Or(cmp.Compare(len(b), len(a)), cmp.Compare(a, b)) }) // longer ones may hold others
	var pairs []string
	for _, name := range names {
		pairs = append(pairs, name, c.code[name])
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

// Names returns a text with the names again that its codes stand for.
func (c *Codes) Names(text string) string {
	var pairs []string
	for name, code := range c.code {
		pairs = append(pairs, code, name) // no code begins another
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

// File returns a run file with codes for the names in it, and without comments. It is an error if
// that would not be the same run.
func (c *Codes) File(text string) (string, error) {
	coded := c.Text(withoutComments(text))
	got, err := runfile.Parse("", []byte(coded))
	if err != nil || !sameParts(got, c.run) || got.Name != c.code[c.run.Name] || got.Site != c.code[c.run.Site] ||
		got.Installation.For != c.code[c.run.Installation.For] || got.Installation.Place != c.code[c.run.Installation.Place] ||
		got.Installation.Installer != c.code[c.run.Installation.Installer] {
		return "", fault.Fault{File: c.run.File, Text: "its names cannot be replaced by codes", Hint: "a reel, feed or step may have the same name; and names are written without escapes, on one line"}
	}
	return coded, nil
}

// sameParts reports whether the parts of two runs have the same names.
func sameParts(a, b *run.Run) bool {
	names := func(r *run.Run) (all []string) {
		for _, x := range r.Supplies {
			all = append(all, x.Name)
		}
		for _, x := range r.Reels {
			all = append(all, x.Name)
		}
		for _, x := range r.Junctions {
			all = append(all, x.Name)
		}
		for _, x := range r.Feeds {
			all = append(all, x.Name)
		}
		for _, x := range r.Steps {
			all = append(all, x.Name)
		}
		for _, x := range r.Probes {
			all = append(all, x.Name)
		}
		return all
	}
	return slices.Equal(names(a), names(b))
}

// withoutComments returns TOML without its comments. A text that goes over several lines is no
// problem: what is left would not be the same run, which File finds.
func withoutComments(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		quote := byte(0)
		for i := 0; i < len(line); i++ {
			switch ch := line[i]; {
			case quote == '"' && ch == '\\':
				i++
			case quote != 0 && ch == quote:
				quote = 0
			case quote == 0 && (ch == '"' || ch == '\''):
				quote = ch
			case quote == 0 && ch == '#':
				line = strings.TrimRight(line[:i], " \t") + "\n"
			}
		}
		b.WriteString(line)
	}
	return b.String()
}

// Coded is a destination that gets codes for names. It is made for the run that Codes.Run returns.
type Coded struct {
	Destination
	*Codes
}

// Send sends readings, and marks with codes.
func (c Coded) Send(ctx context.Context, d *store.Delivery) error {
	coded := *d
	coded.Marks = slices.Clone(d.Marks)
	for i := range coded.Marks {
		coded.Marks[i].Text = c.Text(coded.Marks[i].Text)
	}
	return c.Destination.Send(ctx, &coded)
}

// Describe sends a description with codes.
func (c Coded) Describe(ctx context.Context, r Description) error {
	file, err := c.File(r.File)
	if err != nil {
		return err
	}
	r.File, r.Place, r.Installer = file, c.code[r.Place], c.code[r.Installer]
	return c.Destination.Describe(ctx, r)
}
