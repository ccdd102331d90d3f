package cli

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/site/watched"
)

// indented returns the lines of a topic that are indented by four spaces up to the first
// line that is not, from the one that begins as given.
func indented(topic, begin string) string {
	_, rest, _ := strings.Cut(topic, "\n    "+begin)
	text := begin
	for line := range strings.Lines(rest) {
		text += strings.TrimPrefix(line, "    ")
		if next := rest[len(line):]; !strings.HasPrefix(next, "    ") && !strings.HasPrefix(next, "\n    ") {
			break
		}
		rest = rest[len(line):]
	}
	return text
}

// Help lists the topics and prints each.
func TestHelpTopics(t *testing.T) {
	s := newSession(t)
	s.do(`ohmkeep help`).exits(Passes).prints("Additional help topics:", "run-file", "readings", "verdicts")
	for name, text := range map[string]string{"run-file": runFileTopic, "readings": readingsTopic, "verdicts": verdictsTopic, "mqtt": mqttTopic, "page": pageTopic} {
		s.do(`ohmkeep help ` + name).exits(Passes).prints(strings.TrimSpace(text))
		for line := range strings.Lines(text) {
			if n := len([]rune(line)) - 1; n > 84 {
				t.Errorf("%s: a line of %d columns: %s", name, n, line)
			}
		}
	}
}

// The examples of the topics are read without fault, and the run file's has every table.
func TestTopicExamples(t *testing.T) {
	r, err := runfile.Parse("run-file", []byte(indented(runFileTopic, "schema = 1\n")))
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Joints) == 0 || len(r.Junctions) == 0 || len(r.Meters) == 0 || r.Meters[0].Lead != 5 || len(r.Probes) == 0 || len(r.Checks) == 0 || r.Limits.DesignStep < 0 {
		t.Errorf("a table is missing: %+v", r)
	}
	r, err = runfile.Parse("mqtt", []byte(shelf+indented(mqttTopic, "[mqtt]\n")+indented(mqttTopic, "[[probe]]\n")+"[[probe.channel]]\nid = \"volts\"\nquantity = \"voltage\"\nfrom = \"left.start+\"\nto = \"left.start-\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := profile.Equip(r); err != nil || r.Broker.Publish == "" || r.Probes[0].Topic == "" {
		t.Errorf("the broker's topic: %v %+v", err, r.Broker)
	}
	r, err = runfile.Parse("run-file", []byte(indented(runFileTopic, "schema = 1\n")))
	if err != nil {
		t.Fatal(err)
	}
	set, err := csv.Parse("readings", strings.NewReader(indented(readingsTopic, "time,step,")), r)
	if err != nil || len(set.Readings) != 3 {
		t.Errorf("%d readings: %v", len(set.Readings), err)
	}
}

// The JSON of the page's topic is that of the program: no key is missing, and none is more.
func TestPageTopic(t *testing.T) {
	text := indented(pageTopic, `{"schema"`)
	var state watched.Live
	strict := json.NewDecoder(strings.NewReader(text))
	strict.DisallowUnknownFields()
	if err := strict.Decode(&state); err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(state)
	if err != nil {
		t.Fatal(err)
	}
	var written, shown any
	if json.Unmarshal(b, &written) != nil || json.Unmarshal([]byte(text), &shown) != nil || !reflect.DeepEqual(written, shown) {
		t.Errorf("the topic shows\n%v, the program writes\n%v", shown, written)
	}
}

// word matches a text that is a key of the run file or a word that a key may hold.
var word = regexp.MustCompile(`^[a-z][a-z_]*$`)

// naming matches where the topic's reference names a key or a word: the first column of
// a line, a header, quotation marks.
var naming = regexp.MustCompile(`(?m)^  [a-z_]+(?:, [a-z_]+)*(?:  |$)|^\[\[?[a-z.]+\]|"[a-z]+"`)

// Every key that package runfile accepts, and every word that a key may hold, is named in
// the topic: each one-word string of the package's source outside its imports.
func TestRunFileTopicNamesEveryKey(t *testing.T) {
	files, err := filepath.Glob("../run/runfile/*.go")
	if err != nil {
		t.Fatal(err)
	}
	_, reference, _ := strings.Cut(runFileTopic, "Below, a key")
	named := map[string]bool{}
	for _, place := range naming.FindAllString(reference, -1) {
		for _, w := range regexp.MustCompile(`[a-z][a-z_]*`).FindAllString(place, -1) {
			named[w] = true
		}
	}
	keys := 0
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		src, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		tree, err := parser.ParseFile(token.NewFileSet(), name, src, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			if _, imports := n.(*ast.ImportSpec); imports {
				return false
			}
			text, isText := n.(*ast.BasicLit)
			if !isText || text.Kind != token.STRING {
				return true
			}
			key, err := strconv.Unquote(text.Value)
			if err != nil || !word.MatchString(key) {
				return true
			}
			if keys++; !named[key] {
				t.Errorf("%s: the topic does not name %q", name, key)
			}
			return true
		})
	}
	if keys < 100 {
		t.Errorf("only %d keys found", keys)
	}
}
