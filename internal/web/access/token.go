package access

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
)

// Lengths of a token in characters. 16 random letters and digits are 95 bits, which no one guesses.
const (
	maxLength  = 1024
	goodLength = 16
)

// digest is the SHA-256 sum of a secret. All have one length, so that comparing them takes the
// same time for every secret.
type digest [sha256.Size]byte

func digestOf(secret string) digest { return sha256.Sum256([]byte(secret)) }

// compare is subtle.ConstantTimeCompare; a test counts its calls.
var compare = subtle.ConstantTimeCompare

// equal reports whether two digests are equal, in constant time.
func (d digest) equal(other digest) bool { return compare(d[:], other[:]) == 1 }

// token is the secret that gives both rights.
type token struct {
	digest  digest
	length  int
	session []byte // key of the session cookies; another token ends all sessions
}

// keyIterations makes it slow to guess a token from one of its cookies: 100 000 rounds take about
// 20 ms on a desk computer, once for each token. Tests take fewer.
var keyIterations = 100_000

// readToken reads the token of a server.
func readToken(path string) (token, error) {
	text, err := ReadToken(path)
	if err != nil {
		return token{}, err
	}
	key, err := pbkdf2.Key(sha256.New, text, []byte("session cookies of ohmkeep"), keyIterations, sha256.Size)
	return token{digestOf(text), len(text), key}, err
}

// ReadToken reads a file with a token on its only line.
func ReadToken(path string) (string, error) {
	content, err := file.Read(path, 1<<16)
	if err != nil {
		return "", err
	}
	text := strings.TrimSpace(string(content))
	wrong := func(format string, args ...any) (string, error) {
		return "", fault.Fault{File: path, Text: fmt.Sprintf(format, args...), Hint: "one line with the token; ohmkeep token FILE makes such a file"}
	}
	switch {
	case text == "":
		return wrong("holds no token")
	case strings.ContainsAny(text, "\r\n"):
		return wrong("has more than one line")
	case strings.ContainsFunc(text, func(r rune) bool { return r <= ' ' || r > '~' }):
		return wrong("the token has a blank or a character beyond ASCII")
	case len(text) > maxLength:
		return wrong("the token has more than %d characters", maxLength)
	}
	return text, nil
}

// MakeToken makes a file with a random token, which only its owner can read, and returns the token.
func MakeToken(path string) (string, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return "", fault.Fault{File: path, Text: "is there already", Hint: "name another file, or remove it first"}
	}
	if err != nil {
		return "", fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	text := rand.Text()
	_, err = f.WriteString(text + "\n")
	if err = errors.Join(err, f.Close()); err != nil {
		return "", fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	return text, nil
}
