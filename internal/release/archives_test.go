package release

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"errors"
	"flag"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

var archives = flag.Bool("archives", false, "make an archive for Windows and one for macOS, which compiles the program")

// Each archive holds a program of its system and what belongs to it.
func TestArchives(t *testing.T) {
	if !*archives {
		t.Skip("compiles the program twice; -archives does it")
	}
	into := t.TempDir()
	if out, err := exec.Command("./archives", "1.2.3", into, "windows/amd64", "darwin/arm64").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	belongs := []string{"LICENSE", "README.md", "dashboards/alerts.yml", "dashboards/drift.yml", "dashboards/fleet.json", "dashboards/fleet.yml", "dashboards/run.json"}
	for _, pattern := range []string{"*/*.toml", "*/*.csv", "*/*.png"} {
		examples, err := filepath.Glob("../../testdata/" + pattern)
		if err != nil || len(examples) == 0 {
			t.Fatal(pattern, examples, err)
		}
		for _, path := range examples {
			belongs = append(belongs, strings.TrimPrefix(filepath.ToSlash(path), "../../"))
		}
	}
	for name, program := range map[string]struct{ file, magic string }{
		"ohmkeep_1.2.3_windows_amd64": {"ohmkeep.exe", "MZ"},               // Microsoft PE format, section "MS-DOS stub" (FROM MEMORY)
		"ohmkeep_1.2.3_darwin_arm64":  {"ohmkeep", "\xcf\xfa\xed\xfe\x0c"}, // mach-o/loader.h, MH_MAGIC_64 and CPU_TYPE_ARM64 (FROM MEMORY)
	} {
		files := unpacked(t, filepath.Join(into, name))
		var names []string
		for path, content := range files {
			path, inside := strings.CutPrefix(path, name+"/")
			if !inside || len(content) == 0 {
				t.Errorf("%s: %s, %d bytes", name, path, len(content))
			}
			names = append(names, path)
		}
		slices.Sort(names)
		if want := slices.Sorted(slices.Values(append(slices.Clone(belongs), program.file))); !slices.Equal(names, want) {
			t.Errorf("%s holds %v, not %v", name, names, want)
		}
		if content := files[name+"/"+program.file]; !strings.HasPrefix(content, program.magic) || !strings.Contains(content, "1.2.3") {
			t.Errorf("%s: the program is not of its system, or of another version", name)
		}
	}
}

// unpacked reads an archive's files, zip or tar.gz.
func unpacked(t *testing.T, path string) map[string]string {
	t.Helper()
	files := map[string]string{}
	if z, err := zip.OpenReader(path + ".zip"); err == nil {
		defer z.Close()
		for _, f := range z.File {
			if strings.HasSuffix(f.Name, "/") {
				continue
			}
			r, err := f.Open()
			if err != nil {
				t.Fatal(err)
			}
			content, err := io.ReadAll(r)
			if err != nil {
				t.Fatal(err)
			}
			files[f.Name] = string(content)
		}
		return files
	}
	src, err := os.Open(path + ".tar.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	z, err := gzip.NewReader(src)
	if err != nil {
		t.Fatal(err)
	}
	for r := tar.NewReader(z); ; {
		head, err := r.Next()
		if errors.Is(err, io.EOF) {
			return files
		}
		if err != nil {
			t.Fatal(err)
		}
		if head.Typeflag == tar.TypeReg {
			content, err := io.ReadAll(r)
			if err != nil {
				t.Fatal(err)
			}
			files[head.Name] = string(content)
		}
	}
}

func TestArchivesRefuse(t *testing.T) {
	if out, err := exec.Command("./archives", "1.2.3", t.TempDir(), "plan9/amd64").CombinedOutput(); err == nil || !strings.Contains(string(out), "no system plan9/amd64") {
		t.Errorf("%v\n%s", err, out)
	}
}
