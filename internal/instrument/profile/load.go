package profile

import (
	"fmt"
	"path/filepath"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/probes"
)

const suffix = ".toml"

// Names returns the names of the shipped profiles in alphabetical order.
func Names() []string {
	entries, err := probes.Files.ReadDir(".")
	if err != nil {
		panic(err) // an embedded folder is always readable
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), suffix)
	}
	return names
}

// Own reports whether a profile's name is the path of a file of the user's own.
func Own(name string) bool { return strings.HasSuffix(name, suffix) }

// Load returns a shipped profile by its name, or reads a file if the name ends in .toml; a relative
// path is relative to dir, the run file's folder.
func Load(name, dir string) (*Profile, error) {
	if Own(name) {
		src, path, err := readOwn(name, dir)
		if err != nil {
			return nil, err
		}
		return Parse(path, src)
	}
	src, err := probes.Files.ReadFile(name + suffix)
	if err != nil {
		return nil, fault.Fault{Text: fmt.Sprintf("no profile is named %q", name),
			Hint: fault.Suggest(name, Names()) + "; a file of your own ends in " + suffix}
	}
	return Parse(name+suffix, src)
}

// ReadOwn returns the text of the profile of the user's own that a run file names.
func ReadOwn(name, runFile string) ([]byte, error) {
	src, _, err := readOwn(name, filepath.Dir(runFile))
	return src, err
}

func readOwn(name, dir string) (src []byte, path string, err error) {
	if path = name; !filepath.IsAbs(path) {
		path = filepath.Join(dir, path)
	}
	src, err = file.Read(path, file.MaxRunFile)
	return src, path, err
}
