package cli

import (
	"bytes"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

func TestCallFaults(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	s.write("header.csv", strings.SplitAfter(s.content("readings.csv"), "\n")[0])
	s.write("none.db", "")
	for line, want := range map[string]string{
		`ohmkeep asess shelf.toml readings.csv`:     `ohmkeep: unknown command "asess" (did you mean "assess"?)`,
		`ohmkeep solder --hot`:                      `ohmkeep: unknown command "solder" (`,
		`ohmkeep --hot`:                             `ohmkeep: unknown flag: --hot (see ohmkeep --help)`,
		`ohmkeep -x predict`:                        `unknown shorthand flag: 'x' in -x`,
		`ohmkeep probe chekc`:                       `ohmkeep probe: unknown command "chekc" (did you mean "check"?)`,
		`ohmkeep completion tcsh`:                   `ohmkeep completion: unknown command "tcsh" (known: bash, `,
		`ohmkeep help solder`:                       `ohmkeep: unknown command "solder"`,
		`ohmkeep help probe solder`:                 `ohmkeep probe: unknown command "solder"`,
		`ohmkeep predict`:                           `ohmkeep predict: wants RUN, not 0 arguments (see ohmkeep predict --help)`,
		`ohmkeep predict a b`:                       `not 2 arguments`,
		`ohmkeep predict shelf.toml --step`:         `flag needs an argument: --step`,
		`ohmkeep predict shelf.toml --json=perhaps`: `invalid argument "perhaps" for "--json" flag (see`,
		`ohmkeep predict none.toml`:                 `none.toml: no such file or directory`,
		`ohmkeep predict .`:                         `.: is a directory`,
		`ohmkeep assess`:                            `wants RUN [READINGS.csv], not 0 arguments`,
		`ohmkeep assess shelf.toml`:                 `ohmkeep assess: wants readings: a CSV file, or a store with --store (see`,
		`ohmkeep assess shelf.toml none.csv`:        `none.csv: no such file or directory`,
		`ohmkeep assess shelf.toml .`:               `.: is a directory`,
		`ohmkeep assess . readings.csv`:             `.: is a directory`,
		`ohmkeep assess shelf.toml shelf.toml`:      `shelf.toml: is a run file, where a file of readings is wanted (the run file comes first, then the readings)`,
		`ohmkeep assess shelf.toml shelf.db`:        `shelf.db: is a store, where a file of readings is wanted (a store is named by --store)`,
		`ohmkeep predict readings.csv`:              `readings.csv: is a file of readings, where a run file is wanted`,
		`ohmkeep colour shelf.toml header.csv`:      `shelf.toml: the fit to its readings`,
		`ohmkeep note shelf.toml x --store none.db`: `none.db: the file is empty, and no store`,
		`ohmkeep demo now`:                          `ohmkeep demo: takes no argument such as "now"`,
		`ohmkeep probe list x`:                      `ohmkeep probe list: takes no argument such as "x"`,
		`ohmkeep survey`:                            `ohmkeep survey: wants RUN, not 0 arguments`,
		`ohmkeep survey shelf.toml`:                 `ohmkeep survey: wants --store FILE`,
	} {
		s.do(line).refused(want)
	}
	s.holds("header.csv", "none.db", "readings.csv", "shelf.db", "shelf.toml")
}

// A run file's faults come a line each, with file, line and key.
func TestRunFileFaults(t *testing.T) {
	s := newSession(t)
	s.write("bad.toml", strings.NewReplacer("volts = 5.1", "volts = 510", `to = "left.start"`, `to = "lfet.start"`).Replace(shelf)+
		"[[probe]]\nname = \"board\"\nprofile = \"plan-lines\"\nport = \"/dev/null\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"voltage\"\n")
	o := s.do(`ohmkeep predict bad.toml`).exits(Wrong).says("bad.toml:12: ", "volts", "bad.toml:23: ", `did you mean "left"?`)
	if strings.Count(o.faults, "\n") != 2 || o.out != "" {
		t.Error(o.faults)
	}
	s.write("bad.toml", strings.NewReplacer("volts = 510", "volts = 5.1", "lfet", "left").Replace(s.content("bad.toml")))
	s.do(`ohmkeep predict bad.toml`).refused(`bad.toml: probe board: profile: no profile is named "plan-lines" (did you mean "plain-lines"?`)
}

// broken is a pipe whose reader has gone.
type broken struct{}

var errBroken = errors.New("the reader is closed")

func (broken) Write([]byte) (int, error) { return 0, errBroken }

// What cannot be printed whole is no success.
func TestOutputBreaks(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	for _, line := range []string{"predict shelf.toml", "predict shelf.toml --json", "assess shelf.toml readings.csv",
		"assess shelf.toml readings.csv --json", "export shelf.toml --store shelf.db", "new", "probe list", "completion zsh"} {
		var faults bytes.Buffer
		if status := Run(t.Context(), split(line), strings.NewReader(""), broken{}, &faults); status != Wrong || !strings.Contains(faults.String(), errBroken.Error()) {
			t.Errorf("%s: exits %d and says %q", line, status, faults.String())
		}
	}
}

// each visits all commands that help lists.
func each(c *cobra.Command, visit func(*cobra.Command)) {
	visit(c)
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() || sub.Name() == "help" {
			each(sub, visit)
		}
	}
}

// Help of each command shows examples, and every example is right: those that need no
// hardware are run (a demonstration with -examples only), the others are held against the
// flags and arguments they use.
func TestHelpExamples(t *testing.T) {
	prepared := newSession(t)
	prepared.walk(3, everything)
	prepared.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	prepared.write("own.toml", plain)
	prepared.write("board.txt", "# ohmkeep transcript 1\n# profile: plain-lines\n# begun: 2026-05-04T10:12:00Z\n0.1 < \"1,1.25,A\\n\"\n")
	prepared.do(`ohmkeep token cabinet.token`).exits(Passes)
	prepared.do(`ohmkeep link make owner --token-file cabinet.token --at http://cabinet:9477`).exits(Passes)
	prepared.do(`ohmkeep assess shelf.toml readings.csv --report shelf.html`).exits(Passes)
	prepared.holds("board.txt", "cabinet.token", "cabinet.token.links", "own.toml", "readings.csv", "shelf.db", "shelf.html", "shelf.toml")
	folder, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	commands, run, seen := 0, 0, map[string]bool{}
	each(newRoot(strings.NewReader(""), io.Discard, io.Discard), func(c *cobra.Command) {
		commands++
		s := newSession(t)
		s.do(c.CommandPath()+` --help`).exits(Passes).prints("Usage:", "Examples:", c.Example)
		for line := range strings.Lines(c.Long + "\n") {
			if n := utf8.RuneCountInString(line) - 1; n > 92 {
				t.Errorf("%s --help has a line of %d columns: %s", c.CommandPath(), n, line)
			}
		}
		s.do(`ohmkeep help `+strings.TrimPrefix(c.CommandPath(), "ohmkeep")).exits(Passes).prints("Examples:", c.Example)
		for line := range strings.Lines(c.Example) {
			line, _, _ = strings.Cut(line, " #")
			line = strings.TrimSpace(line)
			if inside, found := strings.CutPrefix(line, "source <("); found {
				line = strings.TrimSuffix(inside, ")")
			}
			line, _, _ = strings.Cut(line, " | ")
			if seen[line] {
				continue
			}
			seen[line] = true
			if s.example(c, folder, line) {
				run++
			}
		}
	})
	if commands < 14 || run < 20 {
		t.Errorf("%d commands, %d examples run", commands, run)
	}
}

// example runs an example in a copy of a folder that holds what examples speak of, and
// reports whether it did.
func (s session) example(c *cobra.Command, folder, line string) bool {
	s.Helper()
	if strings.HasPrefix(line, "curl ") {
		return false // the shell's
	}
	demonstrates := strings.HasPrefix(line, "ohmkeep demo") && !*asTheyStand // TestDemo and TestReadmeInOrder run it
	needsMore := func(what string) bool { return strings.Contains(line, what) }
	if demonstrates || !strings.Contains(line, " help ") && slices.ContainsFunc([]string{"probe check", "probe find", "probe compare", "probe record",
		"--listen", "ohmkeep watch", "ohmkeep status", "postgres://"}, needsMore) {
		call, _, _ := strings.Cut(line, " > ") // the rest is the shell's
		check, args, err := c.Root().Find(split(call)[1:])
		if err == nil {
			err = check.ParseFlags(args)
		}
		if err == nil {
			err = check.ValidateArgs(check.Flags().Args())
		}
		if err != nil {
			s.Errorf("%s: %v", line, err)
		}
		return false
	}
	s.Chdir(s.TempDir())
	if err := os.CopyFS(".", os.DirFS(folder)); err != nil {
		s.Fatal(err)
	}
	if strings.Contains(line, "--out shelf.toml") {
		if err := os.Remove("shelf.toml"); err != nil {
			s.Fatal(err)
		}
	}
	want := Passes
	if strings.HasPrefix(line, "ohmkeep drift") {
		want = Unproven // one evening's readings are no months
	}
	s.do(lighter(line)).exits(want)
	return true
}

func TestCompletion(t *testing.T) {
	s := newSession(t)
	for shell, sign := range map[string]string{"bash": "complete -o default -F __start_ohmkeep", "zsh": "#compdef ohmkeep",
		"fish": "complete -c ohmkeep", "powershell": "Register-ArgumentCompleter"} {
		s.do(`ohmkeep completion ` + shell).exits(Passes).prints(sign)
	}
	s.write("shelf.toml", shelf)
	for line, want := range map[string]string{
		`ohmkeep __complete pre`:                               "predict\t",
		`ohmkeep __complete predict shelf.toml --step wh`:      "white 5 %\nwhite 20 %\n",
		`ohmkeep __complete predict ""`:                        "toml\n:8\n",
		`ohmkeep __complete assess shelf.toml ""`:              "csv\n:8\n",
		`ohmkeep __complete new --fed ""`:                      "start\nboth\nmiddle\n",
		`ohmkeep __complete probe check --profile pl`:          "plain-lines\n",
		`ohmkeep __completeNoDesc survey shelf.toml --step ""`: "dark\nwhite 5 %\n",
	} {
		s.do(line).exits(Passes).prints(want)
	}
	s.do(`ohmkeep __complete predict none.toml --step ""`).exits(Passes)
}
