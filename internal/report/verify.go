package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html"
	"regexp"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/internal/show/page"
)

// Verification is what verifying a report found.
type Verification struct {
	Made    time.Time
	Program string // that made the report
	// Other reports that Program is not the one that verifies. Then words and pictures may differ,
	// and the numbers, verdicts and names alone are compared, the last digit within one.
	Other bool
	// Faults are what does not follow, one a line; none = everything follows.
	Faults []string
}

// ErrNoReport reports that a text is no report that can be verified.
type ErrNoReport struct{ fault.Fault }

// Verify makes a report again from what is inside it, and compares. program is the version of the
// program that runs. The error is an ErrNoReport.
func Verify(name string, content []byte, program string) (*Verification, error) {
	return verify(name, content, program, func(inside contents) ([]byte, error) {
		again, err := compute(inside, nil)
		if err != nil {
			return nil, err
		}
		return again.content()
	})
}

// verify is Verify with a function that makes the page of what is inside.
func verify(name string, content []byte, program string, again func(contents) ([]byte, error)) (*Verification, error) {
	text := plain(content)
	if !bytes.Contains(text, []byte(file.PageMark)) || !bytes.Contains(text, []byte(`<pre data-part="`+runFilePart+`">`)) {
		no := fault.Fault{File: name, Text: "is no report that holds its run file and readings", Hint: "ohmkeep assess --report makes one"}
		return nil, ErrNoReport{no}
	}
	v := &Verification{}
	inside, err := open(text)
	v.Made, v.Program = inside.made, inside.program
	v.Other = inside.program != program
	if err == nil {
		var follows []byte
		if follows, err = again(inside); err == nil {
			v.Other = v.Other || !identifies(program) && sound(text) && !bytes.Equal(text, follows)
			v.Faults = differences(text, follows, v.Other)
		}
	}
	if err != nil {
		v.Faults = strings.Split(err.Error(), "\n")
	}
	if len(v.Faults) == 0 && !sound(text) {
		v.Faults = []string{wrongSum}
	}
	return v, nil
}

// identifies reports whether a version is that of one program only. Builds outside of a repository, or with
// changes, of different sources have the same: a report that is as it was made, but not as this one makes it, is
// then taken for one of another version.
func identifies(program string) bool {
	changed := strings.Contains(program, "with changes") || strings.Contains(program, "+dirty")
	known := strings.Contains(program, "commit ") || program != "" && !strings.HasPrefix(program, "(")
	return known && !changed
}

// plain returns a text with its lines ended by LF and without a byte order mark, which programs
// that send or keep a page may add.
func plain(content []byte) []byte {
	return bytes.ReplaceAll(bytes.TrimPrefix(content, []byte("\ufeff")), []byte("\r\n"), []byte("\n"))
}

var (
	programPattern = regexp.MustCompile(regexp.QuoteMeta(file.PageMark) + `(?: ([^"]*))?">`)
	madePattern    = regexp.MustCompile(`<meta name="made" content="([^"]*)">`)
	partPattern    = regexp.MustCompile(`(?s)<details><summary>([^<]*)</summary>\n<pre data-part="([^"]*)">\n(.*?)</pre>\n</details>`)
	sumPattern     = regexp.MustCompile(`<code class="sum">([^<]*)</code>`)
)

// open takes out what is inside a page.
func open(text []byte) (c contents, err error) {
	if m := programPattern.FindSubmatch(text); m != nil {
		c.program = html.UnescapeString(string(m[1]))
	}
	for _, m := range partPattern.FindAllSubmatch(text, -1) {
		c.parts = append(c.parts, page.Part{Title: html.UnescapeString(string(m[1])), Name: html.UnescapeString(string(m[2])), Text: html.UnescapeString(string(m[3]))})
	}
	if m := madePattern.FindSubmatch(text); m != nil {
		c.made, err = time.Parse(time.RFC3339, html.UnescapeString(string(m[1])))
		if err != nil {
			err = fmt.Errorf("the time at which it was made, %q, is none", m[1])
		}
	}
	return c, err
}

// sound reports whether the sum in a page is its own.
func sound(text []byte) bool {
	at := sumPattern.FindSubmatchIndex(text)
	if at == nil || at[3]-at[2] != len(noSum) {
		return false
	}
	given := string(text[at[2]:at[3]])
	sum := sha256.Sum256(bytes.Join([][]byte{text[:at[2]], text[at[3]:]}, []byte(noSum)))
	return given == hex.EncodeToString(sum[:])
}
