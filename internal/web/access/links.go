package access

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
)

// maxLinks is how many links there may be at a time: each wrong token is compared with every one.
const maxLinks = 1000

// Link is a secret that gives the right to read. Its file, which stands beside that of the token,
// holds the SHA-256 sum of the secret and not the secret itself.
type Link struct {
	Name string    `json:"name"` // whom it was given to
	Made time.Time `json:"made"`
	Sum  string    `json:"sha256"` // hexadecimal
	sum  digest
}

// id names a link in a session cookie.
func (l Link) id() string { return l.Sum[:16] }

// linkFile returns the name of the file with the links of a token.
func linkFile(tokenFile string) string { return tokenFile + ".links" }

// linkDocument is the content of that file.
type linkDocument struct {
	Schema int    `json:"schema"`
	Links  []Link `json:"links"`
}

// ReadLinks returns the links beside a token's file; none where there is no such file.
func ReadLinks(tokenFile string) ([]Link, error) {
	path := linkFile(tokenFile)
	content, err := file.Read(path, 1<<20)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var d linkDocument
	if err := json.Unmarshal(content, &d); err != nil || d.Schema != 1 || len(d.Links) > maxLinks {
		return nil, fault.Fault{File: path, Text: "is not a list of links", Hint: "ohmkeep link make writes it"}
	}
	for i := range d.Links {
		sum, err := hex.DecodeString(d.Links[i].Sum)
		if err != nil || len(sum) != len(digest{}) {
			return nil, fault.Fault{File: path, Key: d.Links[i].Name, Text: "its sha256 is not 64 hexadecimal digits", Hint: "withdraw the link and make another"}
		}
		d.Links[i].sum = digest(sum)
	}
	return d.Links, nil
}

// MakeLink adds a link to those of a token, and returns its secret, which is kept nowhere.
func MakeLink(tokenFile, name string, now time.Time) (secret string, err error) {
	name = strings.TrimSpace(name)
	if name == "" || len(name) > 100 || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return "", fault.Fault{Key: "link", Text: fmt.Sprintf("%q is no name", name), Hint: "say in a few words whom the link is for"}
	}
	secret = rand.Text() // 130 bits
	sum := digestOf(secret)
	return secret, changeLinks(tokenFile, func(links []Link) ([]Link, error) {
		if slices.ContainsFunc(links, func(l Link) bool { return l.Name == name }) {
			return nil, fault.Fault{File: linkFile(tokenFile), Key: "link", Text: fmt.Sprintf("%q is there already", name), Hint: "withdraw it first, or choose another name"}
		}
		if len(links) == maxLinks {
			return nil, fault.Fault{File: linkFile(tokenFile), Text: fmt.Sprintf("holds %d links", maxLinks), Hint: "withdraw some first"}
		}
		return append(links, Link{Name: name, Made: now.UTC().Truncate(time.Second), Sum: hex.EncodeToString(sum[:])}), nil
	})
}

// WithdrawLink removes a link from those of a token. Its sessions end at once.
func WithdrawLink(tokenFile, name string) error {
	return changeLinks(tokenFile, func(links []Link) ([]Link, error) {
		at := slices.IndexFunc(links, func(l Link) bool { return l.Name == name })
		if at < 0 {
			var names []string
			for _, l := range links {
				names = append(names, l.Name)
			}
			return nil, fault.Fault{File: linkFile(tokenFile), Key: "link", Text: fmt.Sprintf("there is no link %q", name), Hint: fault.Suggest(name, names)}
		}
		return slices.Delete(links, at, at+1), nil
	})
}

// changeLinks replaces the links of a token by what change returns. One change is made at a time, so that none
// brings back a link that another one has withdrawn.
func changeLinks(tokenFile string, change func([]Link) ([]Link, error)) error {
	return file.Locked(tokenFile, func() error {
		links, err := ReadLinks(tokenFile)
		if err != nil {
			return err
		}
		if links, err = change(links); err != nil {
			return err
		}
		return writeLinks(tokenFile, links)
	})
}

func writeLinks(tokenFile string, links []Link) error {
	// The kind Unknown and Force: the file was read by its own form before.
	return file.Output{Path: linkFile(tokenFile), Force: true}.Write(func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(linkDocument{1, links})
	})
}
