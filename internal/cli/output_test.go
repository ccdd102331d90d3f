//go:build !windows

package cli

import (
	"context"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// Every output of a command may take the place of an older one and of nothing else.
func TestOutputsSpareOtherFiles(t *testing.T) {
	example := testdata(t)
	s := newSession(t)
	for _, name := range []string{"run.toml", "readings.csv"} {
		s.write(name, s.content(filepath.Join(example, "colour", name)))
	}
	s.write("mine.html", "<p>mine</p>")
	s.write("photo.png", "\x89PNG\r\n\x1a\nof a holiday")
	s.do(`ohmkeep import run.toml readings.csv --store shelf.db`).exits(Passes)
	before := map[string]string{}
	for _, name := range []string{"run.toml", "readings.csv", "shelf.db", "mine.html", "photo.png"} {
		before[name] = s.content(name)
	}
	for _, call := range []string{"assess run.toml readings.csv --report ", "drift run.toml --store shelf.db --report "} {
		for file, why := range map[string]string{"run.toml": "is read by the same call", "mine.html": "is there already, and is not a page made by ohmkeep",
			"photo.png": "is there already", "/dev/full": "is a device, not a file", "none/x.html": "there is no folder none"} {
			s.do("ohmkeep " + call + file).refused(file + ": " + why)
		}
	}
	s.do("ohmkeep assess run.toml readings.csv --report readings.csv --force").refused("readings.csv: is read by the same call")
	s.do("ohmkeep assess run.toml readings.csv --report shelf.db --force").refused("shelf.db: is a store, which nothing of another kind replaces")
	s.write("link.png", "")
	for _, call := range []string{"predict run.toml", "colour run.toml readings.csv", "repair run.toml readings.csv"} {
		s.do("ohmkeep " + call + " --picture photo.png").refused("photo.png: is there already, and is not a picture made by ohmkeep")
		s.do("ohmkeep " + call + " --picture none/x.png").refused("none/x.png: there is no folder none")
	}
	s.do("ohmkeep store backup shelf.db run.toml").refused("run.toml: is a run file, which nothing of another kind replaces")
	s.do("ohmkeep store backup shelf.db /dev/full").refused("/dev/full: is a device, not a file")
	s.do("ohmkeep new --reels 5 --out readings.csv --force").refused("readings.csv: is a file of readings, which nothing of another kind replaces")
	s.do("ohmkeep new --reels 5 --out run.toml").refused("run.toml: is a run file that is there already")
	for name, content := range before {
		if s.content(name) != content {
			t.Errorf("%s has changed", name)
		}
	}

	// What is ours of the same kind is replaced, the rest with --force.
	for range 2 {
		s.do(lighter("ohmkeep predict run.toml --picture volts.png")).exits(Passes).says("picture: volts.")
		s.do("ohmkeep predict run.toml --picture volts.svg").exits(Passes)
		s.do("ohmkeep assess run.toml readings.csv --report page.html").says("report: page.html")
		s.do("ohmkeep store backup shelf.db copy.db").exits(Passes)
	}
	s.do("ohmkeep assess run.toml readings.csv --report mine.html --force").says("report: mine.html")
}

// Inputs are regular files: nothing blocks on a pipe or reads a device for ever.
func TestInputsAreRegularFiles(t *testing.T) {
	example := testdata(t)
	s := newSession(t)
	if err := syscall.Mkfifo("pipe", 0o600); err != nil {
		t.Fatal(err)
	}
	s.write("run.toml", s.content(filepath.Join(example, "colour", "run.toml")))
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
	defer stop()
	for path, is := range map[string]string{"pipe": "a named pipe", "/dev/zero": "a device", ".": "a directory"} {
		for _, call := range []string{"predict " + path, "assess run.toml " + path, "import run.toml " + path + " --store x.db", "probe replay " + path} {
			s.during(ctx, "", "ohmkeep "+call).refused(path + ": is " + is + ", not a file")
		}
	}
	s.do("ohmkeep assess run.toml none.csv").refused("none.csv: no such file or directory")
}
