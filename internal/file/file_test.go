package file

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func write(t *testing.T, name, content string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(content), 0o640); err != nil {
		t.Fatal(err)
	}
}

func wants(t *testing.T, what string, err error, text string) {
	t.Helper()
	if (err == nil) != (text == "") || err != nil && !strings.Contains(err.Error(), text) {
		t.Errorf("%s: %v, want %q", what, err, text)
	}
}

func TestReadIsBounded(t *testing.T) {
	t.Chdir(t.TempDir())
	write(t, "small", "12345678")
	if content, err := Read("small", 8); err != nil || string(content) != "12345678" {
		t.Errorf("%q, %v", content, err)
	}
	_, err := Read("small", 7)
	wants(t, "too large", err, "small: is larger than 0 MB")
	_, err = ReadAll("standard input", strings.NewReader("12345678"), 7)
	wants(t, "a long stream", err, "standard input: is larger than 0 MB")
	_, err = Read("none", 8)
	if !errors.Is(err, fs.ErrNotExist) || strings.Count(err.Error(), "none") != 1 {
		t.Errorf("a missing file: %v", err)
	}
	_, err = Read(".", 8)
	wants(t, "a directory", err, ".: is a directory, not a file")
}

// The beginnings that the kinds are known by, and what may take the place of each.
var beginnings = map[string]struct {
	kind    Kind
	content string
}{
	"page.html":    {Page, "<!DOCTYPE html>\n" + PageMark + " 1.0\">\n"},
	"picture.svg":  {Picture, `<svg data-generator="` + PictureMark + `" `},
	"readings.db":  {Store, "SQLite format 3\x00..."},
	"run.toml":     {RunFile, "schema = 1\nname = \"x\"\n[[reel]]\n"},
	"readings.csv": {Readings, "time,step,quantity,from,to,value,unit,meter\n"},
	"board.txt":    {Transcript, "# ohmkeep transcript 1\n"},
	"holiday.png":  {Unknown, "\x89PNG\r\n\x1a\n...."},
	"other.html":   {Unknown, "<!DOCTYPE html>\n<title>not ours</title>"},
	"notes.txt":    {Unknown, "schema of the hall"},
}

// link makes a symbolic link; wine says that it did and makes none.
func link(t *testing.T, to, name string) {
	t.Helper()
	if err := os.Symlink(to, name); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Readlink(name); err != nil {
		t.Skip("no symbolic links can be made here: ", err)
	}
}

func TestOutputReplacesOnlyItsKind(t *testing.T) {
	t.Chdir(t.TempDir())
	link(t, "run.toml", "link")
	for name, b := range beginnings {
		write(t, name, b.content)
		if got := KindOf(name); got != b.kind {
			t.Errorf("%s is %q, want %q", name, got, b.kind)
		}
	}
	for name, b := range beginnings {
		for _, kind := range []Kind{Page, Picture, Store, RunFile, Readings, Transcript} {
			for _, force := range []bool{false, true} {
				o := Output{Path: name, Kind: kind, Force: force}
				want := ""
				switch remade := kind == Page || kind == Picture || kind == Store; {
				case b.kind != Unknown && b.kind != kind:
					want = "which nothing of another kind replaces"
				case !force && (b.kind == Unknown || !remade):
					want = "--force"
				}
				wants(t, kind.String()+" over "+name, o.Check(), want)
			}
		}
		wants(t, "an input", Output{Path: name, Kind: b.kind, Force: true, Inputs: []string{"", "-", name}}.Check(), "is read by the same call")
	}
	wants(t, "an input by another name", Output{Path: "link", Kind: RunFile, Force: true, Inputs: []string{"run.toml"}}.Check(), "is read by the same call")
	wants(t, "no folder", Output{Path: "none/page.html", Kind: Page}.Check(), "there is no folder none")
	wants(t, "a folder", Output{Path: ".", Kind: Page, Force: true}.Check(), "is a directory")
	write(t, "readings.db-wal", "")
	wants(t, "a store in use", Output{Path: "readings.db", Kind: Store, Force: true}.Check(), "is a store in use")
}

// A file is replaced whole or not at all, and keeps its permissions; a link stays one.
func TestWriteWholeOrNotAtAll(t *testing.T) {
	t.Chdir(t.TempDir())
	write(t, "page.html", PageMark+" old")
	link(t, "page.html", "link.html")
	o := Output{Path: "link.html", Kind: Page}
	broken := errors.New("half")
	err := o.Write(func(w io.Writer) error {
		if _, err := io.WriteString(w, "half of it"); err != nil {
			return err
		}
		return broken
	})
	if content, _ := os.ReadFile("page.html"); !errors.Is(err, broken) || string(content) != PageMark+" old" {
		t.Errorf("%v, and the file holds %q", err, content)
	}
	if err := o.Write(func(w io.Writer) error { _, err := io.WriteString(w, PageMark+" new"); return err }); err != nil {
		t.Fatal(err)
	}
	info, err := os.Lstat("page.html")
	if content, _ := os.ReadFile("page.html"); err != nil || string(content) != PageMark+" new" || info.Mode() != 0o640 {
		t.Errorf("%v %v, and the file holds %q", err, info.Mode(), content)
	}
	if left, _ := filepath.Glob(".*page*"); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
	if info, err := os.Lstat("link.html"); err != nil || info.Mode()&fs.ModeSymlink == 0 {
		t.Errorf("the link has become %v", info.Mode())
	}
}
