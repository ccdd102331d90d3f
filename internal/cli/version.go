package cli

import (
	"cmp"
	"runtime/debug"
	"strings"
	"time"

	"ohmkeep/internal/show/page"
)

// release is the version of a package; its build sets it with -ldflags
// "-X ohmkeep/internal/cli.release=1.2.3".
var release string

// version returns what the program was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		info = &debug.BuildInfo{}
	}
	return versionOf(release, info)
}

// versionOf returns the version, the commit with its date, the Go release and the
// system. What the build did not record is left out; without a release it is the
// module's version.
func versionOf(release string, info *debug.BuildInfo) string {
	set := map[string]string{}
	for _, s := range info.Settings {
		set[s.Key] = s.Value
	}
	parts := []string{cmp.Or(release, info.Main.Version, "(unknown)")}
	if commit := set["vcs.revision"]; commit != "" {
		text := "commit " + commit[:min(12, len(commit))]
		if day, _, found := strings.Cut(set["vcs.time"], "T"); found {
			text += " of " + day
		}
		if set["vcs.modified"] == "true" {
			text += " with changes"
		}
		parts = append(parts, text)
	}
	if info.GoVersion != "" {
		parts = append(parts, info.GoVersion)
	}
	if system := set["GOOS"]; system != "" {
		parts = append(parts, system+"/"+set["GOARCH"])
	}
	return strings.Join(parts, ", ")
}

// pageOptions hold the version and date that a page shows.
func pageOptions() page.Options {
	return page.Options{Made: time.Now(), Program: version()}
}
