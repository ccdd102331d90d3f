package cli

import (
	"os"
	"runtime"
	"runtime/debug"
	"strings"
	"testing"
)

func TestVersion(t *testing.T) {
	built := &debug.BuildInfo{GoVersion: "go1.26.0", Main: debug.Module{Version: "(devel)"}, Settings: []debug.BuildSetting{
		{Key: "vcs.revision", Value: "0123456789abcdef0123456789abcdef01234567"}, {Key: "vcs.time", Value: "2026-11-30T02:12:28Z"},
		{Key: "GOOS", Value: "linux"}, {Key: "GOARCH", Value: "arm64"}}}
	if got, want := versionOf("", built), "(devel), commit 0123456789ab of 2026-11-30, go1.26.0, linux/arm64"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	built.Settings = append(built.Settings, debug.BuildSetting{Key: "vcs.modified", Value: "true"})
	if got, want := versionOf("1.2.3", built), "1.2.3, commit 0123456789ab of 2026-11-30 with changes, go1.26.0, linux/arm64"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := versionOf("", &debug.BuildInfo{}); got != "(unknown)" {
		t.Errorf("%q", got)
	}
}

// The program and the page that it makes tell their version.
func TestVersionIsTold(t *testing.T) {
	example := testdata(t)
	s := newSession(t)
	s.do(`ohmkeep --version`).exits(Passes).prints("ohmkeep ", runtime.Version())
	s.do(`ohmkeep assess ` + example + `/commissioning/run.toml ` + example + `/commissioning/readings.csv --report page.html`)
	page, err := os.ReadFile("page.html")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(page), "Made by ohmkeep") || !strings.Contains(string(page), runtime.Version()) {
		t.Error("the page does not tell the program's version")
	}
}
