package release

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

var build = flag.Bool("deb", false, "build a Debian package, which compiles the program")

func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skip(name + " is not installed")
	}
	return path
}

// unit gives the unit with a program that exists here.
func unit(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("ohmkeep.service")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "ohmkeep.service")
	here := strings.Replace(string(text), "/usr/bin/ohmkeep ", "/bin/true ", 1)
	if here == string(text) {
		t.Fatal("the unit does not start the program")
	}
	if err := os.WriteFile(path, []byte(here), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestUnit(t *testing.T) {
	verify := tool(t, "systemd-analyze")
	if out, err := exec.Command(verify, "verify", "--man=no", unit(t)).CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
}

// The sandbox is as tight as that of a program that needs serial ports and a
// network can be: 1.5 or less of 10 on the tool's scale of exposure.
func TestSandbox(t *testing.T) {
	verify := tool(t, "systemd-analyze")
	out, err := exec.Command(verify, "security", "--offline=yes", "--threshold=15", "--no-pager", unit(t)).CombinedOutput()
	if strings.Contains(string(out), "unrecognized option") {
		t.Skip("systemd-analyze is too old to judge a sandbox from a file")
	}
	if err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// What a test under the unit's limits measures holds only with these lines; see
// TestFullDisk of package cli.
func TestLimits(t *testing.T) {
	text, err := os.ReadFile("ohmkeep.service")
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"MemoryMax=128M", "MemorySwapMax=0", "Environment=GOMEMLIMIT=80MiB", "UMask=0077", "LimitNOFILE=512", "TasksMax=64", "IPAddressDeny=any"} {
		if !strings.Contains(string(text), "\n"+line+"\n") {
			t.Errorf("the unit has no %s", line)
		}
	}
}

func TestRule(t *testing.T) {
	verify := tool(t, "udevadm")
	out, err := exec.Command(verify, "verify", "ohmkeep.rules").CombinedOutput()
	if strings.Contains(string(out), "Unknown command verb") || strings.Contains(string(out), "unrecognized option") {
		t.Skip("udevadm is too old to verify a rule")
	}
	if err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

func TestDebRefuses(t *testing.T) {
	for _, args := range [][]string{{}, {"1.0.0", "vax", t.TempDir()}} {
		out, err := exec.Command("./deb", args...).CombinedOutput()
		if err == nil || strings.Count(string(out), "\n") != 1 {
			t.Errorf("%v: %v\n%s", args, err, out)
		}
	}
}

// The package holds what it should, owned by root, and no path of this machine.
func TestDeb(t *testing.T) {
	if !*build {
		t.Skip("compiles the program; ask for it with -deb")
	}
	query := tool(t, "dpkg-deb")
	out, err := exec.Command("./deb", "1.2.3", "arm64", t.TempDir()).Output()
	if err != nil {
		t.Fatal(err)
	}
	file := strings.TrimSpace(string(out))
	list, err := exec.Command(query, "--contents", file).Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"./usr/bin/ohmkeep", "./usr/lib/systemd/system/ohmkeep.service", "./etc/ohmkeep/",
		"./usr/share/doc/ohmkeep/copyright", "./usr/share/doc/ohmkeep/examples/run.toml"} {
		if !strings.Contains(string(list), " "+want+"\n") {
			t.Errorf("no %s in\n%s", want, list)
		}
	}
	for line := range strings.Lines(string(list)) {
		if !strings.Contains(line, "root/root") {
			t.Errorf("not root's: %s", line)
		}
	}
	control, err := exec.Command(query, "--field", file, "Package", "Version", "Architecture").Output()
	if err != nil || string(control) != "Package: ohmkeep\nVersion: 1.2.3\nArchitecture: arm64\n" {
		t.Errorf("%v\n%s", err, control)
	}
}
