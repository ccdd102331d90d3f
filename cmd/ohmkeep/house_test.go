package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// wings are the folders of internal/, each with the wings that it may import: only
// those above it in the table. A new edge is a decision: change the table in DEVELOPERS.md before
// adding it here.
var wings = []struct{ name, imports string }{
	{"fault", ""},
	{"text", ""},
	{"file", "fault"},
	{"numeric", ""},
	{"run", "fault file"},
	{"reading", "fault run"},
	{"network", "run"},
	{"result", "reading run"},
	{"verdict", "result"},
	{"instrument", "fault file reading run"},
	{"store", "fault reading run"},
	{"simulate", "instrument reading run"},
	{"fit", "network numeric reading result run verdict"},
	{"drift", "fault network numeric reading result run verdict"},
	{"assess", "fault fit network numeric reading result run verdict"},
	{"advise", "fit network numeric result run verdict"},
	{"guide", "assess fault instrument reading result run simulate store"},
	{"web", "fault file"},
	{"watch", "drift fault file instrument reading result run simulate store web"},
	{"central", "assess drift fault file reading result run store watch"},
	{"show", "advise assess file network result run text"},
	{"site", "assess central drift fault guide reading result run show store text watch web"},
	{"report", "advise assess fault file fit instrument reading result run show"},
	{"cli", "advise assess central drift fault file fit guide instrument network reading report result run show simulate site store text watch web"},
	{"release", ""},
}

// rooms are the packages below a wing's folder and the rooms of the same wing that
// each may import; a wing that is missing here is one package. "." is the wing's
// own package.
var rooms = map[string]map[string]string{
	"text":    {"number": "", "printable": ""},
	"numeric": {"changepoint": "", "chisquared": "", "leastsquares": "", "matrix": "leastsquares", "parallel": "", "shapley": "", "trend": ""},
	"run": {".": "colour conductor", "colour": "", "conductor": "", "runfile": ". colour conductor toml topic",
		"scaffold": ". conductor runfile", "toml": "", "topic": ""},
	"reading": {".": "", "csv": ". openmetrics", "openmetrics": ".", "repeats": "."},
	"network": {"ladder": "ldl pixel", "ldl": "", "light": "pixel", "limits": "", "pixel": "", "prediction": "ladder limits pixel"},
	"result":  {"assessment": "", "firm": "", "history": ""},
	"instrument": {".": "characters display hwmon lines modbus mqtt payload port profile scpi segments", "characters": "display", "display": "",
		"compare": "",
		"find":    ". port profile",
		"hwmon":   "", "lines": "profile register", "modbus": "profile", "mqtt": "", "payload": "profile", "port": "profile", "segments": "display",
		"profile": "register", "register": "", "scpi": "", "survey": "", "transcript": ""},
	"store": {
		".":                   "internal/chunk internal/decimal internal/delivery internal/events internal/query internal/recovery internal/retention internal/sqlitefile internal/tables internal/writer",
		"internal/chunk":      "internal/column",
		"internal/column":     "",
		"internal/decimal":    "",
		"internal/events":     "",
		"internal/delivery":   "",
		"internal/pages":      "",
		"internal/query":      "internal/chunk internal/tables",
		"internal/recovery":   "internal/chunk internal/delivery internal/events internal/pages internal/sqlitefile internal/tables",
		"internal/retention":  "internal/chunk internal/query internal/tables",
		"internal/sqlitefile": "",
		"internal/tables":     "internal/chunk internal/decimal internal/delivery internal/sqlitefile",
		"internal/writer":     "internal/chunk internal/decimal internal/delivery internal/events internal/sqlitefile internal/tables",
	},
	"simulate": {"demo": "devices plant", "devices": "", "months": "plant", "plant": ""},
	"fit":      {"estimate": "model prior search", "likelihood": "", "model": "likelihood prior", "prior": "", "search": "likelihood model prior"},
	"drift":    {".": "elements nightly", "elements": "", "nightly": "elements scan", "scan": ""},
	"assess":   {"judge": "nextreading", "nextreading": "", "plan": "judge nextreading", "walk": "judge nextreading plan"},
	"advise":   {"colourloss": "interval", "interval": "", "loadlimit": "", "repair": "colourloss interval loadlimit"},
	"web":      {"access": "", "server": ""},
	"watch": {"analysis": "", "machine": "", "metrics": "recorder", "probe": "", "publish": "recorder", "recorder": "machine probe",
		"service": "machine metrics publish recorder", "storage": "analysis machine metrics recorder"},
	"site":    {"fleet": "parts watched", "parts": "", "walking": "parts", "watched": "parts"},
	"central": {"archive": "postgres ship", "description": "ship", "fleet": "postgres", "pool": "postgres", "postgres": "throttle", "remotewrite": "ship throttle", "replica": "archive fleet postgres", "ship": "", "throttle": ""},
	"show":    {"chart": "wording", "jsondoc": "wording", "page": "chart sheet wording", "sheet": "", "table": "wording", "wording": ""},
}

// pure lists the wings that only compute: they import no clock, context, logger or file.
var pure = []string{"numeric", "network", "fit"}

// outside lists what else of the project is a package, with what of the project it
// may import.
var outside = map[string]string{"cmd/ohmkeep": "internal/cli", "probes": "", "dashboards": ""}

// parseHouse returns the imports of every package of the project but those of its
// tests, by the folder's path. A package named …test is one of them: it may import
// anything, and what is in no table may not be imported.
func parseHouse(t *testing.T) map[string][]string {
	t.Helper()
	imports := map[string][]string{}
	err := filepath.WalkDir("../..", func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return err
		}
		folder, err := filepath.Rel("../..", filepath.Dir(file))
		if err != nil {
			return err
		}
		folder = filepath.ToSlash(folder)
		if strings.HasSuffix(folder, "test") {
			return nil
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		imports[folder] = append(imports[folder], "")
		for _, spec := range parsed.Imports {
			name, _ := strconv.Unquote(spec.Path.Value) // the parser checked it
			imports[folder] = append(imports[folder], name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return imports
}

// place splits a folder below internal/ into its wing and its room there.
func place(folder string) (wing, room string, inside bool) {
	below, inside := strings.CutPrefix(folder, "internal/")
	wing, room, deeper := strings.Cut(below, "/")
	if !deeper {
		room = "."
	}
	return wing, room, inside
}

// Imports run downwards in the table of wings, and as the table of rooms says within
// one; tests may reach across.
func TestImportsKeepToTheHouse(t *testing.T) {
	order := map[string]int{}
	allowed := map[string][]string{}
	for i, w := range wings {
		order[w.name] = i
		allowed[w.name] = strings.Fields(w.imports)
		for _, other := range allowed[w.name] {
			if at, known := order[other]; !known || at >= i {
				t.Errorf("the table lets %s import %s, which does not stand above it", w.name, other)
			}
		}
	}
	used := map[string]bool{} // "folder: folder", of wings, rooms and folders outside internal/
	found := map[string]bool{}
	for folder, names := range parseHouse(t) {
		wing, room, inside := place(folder)
		if !inside {
			found[folder] = true
			may, known := outside[folder]
			if !known {
				t.Errorf("package %s is not in the house", folder)
			}
			for _, name := range names {
				if other, ours := strings.CutPrefix(name, "ohmkeep/"); ours && !slices.Contains(strings.Fields(may), other) {
					t.Errorf("%s may not import %s", folder, other)
				}
			}
			continue
		}
		found[wing+"/"+room] = true
		may, known := rooms[wing][room]
		if !known && (room != "." || rooms[wing] != nil || allowed[wing] == nil) {
			t.Errorf("package %s is not in the house", folder)
			continue
		}
		for _, name := range names {
			other, ours := strings.CutPrefix(name, "ohmkeep/")
			if !ours || other == "probes" && wing == "instrument" {
				continue
			}
			otherWing, otherRoom, below := place(other)
			switch {
			case !below:
				t.Errorf("%s may not import %s", folder, other)
			case otherWing != wing:
				used[wing+": "+otherWing] = true
				if !slices.Contains(allowed[wing], otherWing) {
					t.Errorf("%s may not import %s: wing %s knows no wing %s", folder, other, wing, otherWing)
				}
			default:
				used[wing+"/"+room+": "+otherRoom] = true
				if !slices.Contains(strings.Fields(may), otherRoom) {
					t.Errorf("%s may not import %s: room %s knows no room %s", folder, other, room, otherRoom)
				}
			}
		}
	}
	for _, w := range wings {
		for _, other := range allowed[w.name] {
			if !used[w.name+": "+other] {
				t.Errorf("wing %s may import %s, and does not", w.name, other)
			}
		}
		if rooms[w.name] == nil && !found[w.name+"/."] {
			t.Errorf("the house has a wing %s that does not exist", w.name)
		}
	}
	for wing, in := range rooms {
		for room, may := range in {
			if !found[wing+"/"+room] {
				t.Errorf("the house has a room %s/%s that does not exist", wing, room)
			}
			for _, other := range strings.Fields(may) {
				if !used[wing+"/"+room+": "+other] {
					t.Errorf("room %s/%s may import %s, and does not", wing, room, other)
				}
			}
		}
	}
	for folder := range outside {
		if !found[folder] && folder != "dashboards" { // tests alone
			t.Errorf("the house has a folder %s that does not exist", folder)
		}
	}
}

// What computes gets what it needs as values.
func TestNumericRoomsKnowNoWorld(t *testing.T) {
	worldly := []string{"bufio", "context", "database/sql", "io", "io/fs", "log", "log/slog", "net", "net/http", "os", "os/exec",
		"path/filepath", "syscall", "time"}
	checked := 0
	for folder, names := range parseHouse(t) {
		if wing, _, inside := place(folder); !inside || !slices.Contains(pure, wing) || strings.HasSuffix(folder, "test") {
			continue
		}
		checked++
		for _, name := range names {
			if slices.Contains(worldly, name) {
				t.Errorf("%s may not import %s", folder, name)
			}
		}
	}
	if checked < 10 {
		t.Errorf("only %d numeric rooms found", checked)
	}
}

// The packages of result hold what others concluded: none of their functions loops or
// branches, so that nothing is computed there.
func TestResultHoldsValues(t *testing.T) {
	files, err := filepath.Glob("../../internal/result/*/*.go")
	if err != nil || len(files) < 3 {
		t.Fatalf("%v: %v", files, err)
	}
	types := 0
	for _, file := range files {
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.TypeSpec:
				types++
			case *ast.ForStmt, *ast.RangeStmt, *ast.IfStmt, *ast.SwitchStmt, *ast.TypeSwitchStmt:
				t.Errorf("%s computes with a %T", file, n)
			}
			return true
		})
	}
	if types < 20 {
		t.Errorf("only %d types found", types)
	}
}
