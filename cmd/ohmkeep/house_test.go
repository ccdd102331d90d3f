package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// house says which of the project's packages each may import. A new edge is a
// decision: draw the house anew (DEVELOPERS.md) before adding it here.
var house = map[string]string{
	// values
	"internal/fault":      "",
	"internal/legible":    "",
	"internal/conductor":  "fault",
	"internal/document":   "fault",
	"internal/ldl":        "",
	"internal/run":        "conductor fault",
	"internal/reading":    "fault run",
	"internal/column":     "",
	"internal/indication": "",
	"internal/chunk":      "column indication",
	// description
	"probes":           "",
	"internal/runfile": "conductor document fault run",
	"internal/profile": "document fault run probes",
	"internal/draft":   "conductor fault runfile",
	// model
	"internal/pixel":        "run",
	"internal/ladder":       "ldl pixel run",
	"internal/leastsquares": "",
	"internal/trend":        "",
	"internal/control":      "",
	// world
	"internal/board":           "fault profile reading run",
	"internal/scpi":            "",
	"internal/port":            "profile",
	"internal/instrument":      "board port profile run scpi",
	"internal/bench":           "profile run",
	"internal/archive":         "chunk database indication reading run",
	"internal/recall":          "archive chunk indication reading",
	"internal/retention":       "archive chunk recall",
	"internal/rescue":          "archive chunk database",
	"internal/keeper":          "archive chunk database diary fault indication reading run",
	"internal/store":           "archive chunk database diary fault indication keeper reading recall rescue retention run",
	"internal/diary":           "",
	"internal/database":        "fault",
	"internal/survey":          "instrument reading run",
	"internal/clock":           "",
	"internal/disk":            "",
	"internal/lock":            "",
	"internal/recorder":        "clock fault instrument profile reading run",
	"internal/simulate":        "ladder pixel reading run survey",
	"internal/simulate/months": "ladder reading run simulate",
	// judgement and what it hands on
	"internal/assessment": "reading run",
	"internal/verdict":    "assessment",
	"internal/prediction": "ladder pixel run",
	"internal/estimate":   "assessment ladder leastsquares pixel reading run verdict",
	"internal/judge":      "assessment estimate prediction reading run verdict",
	"internal/history":    "assessment run",
	"internal/circuit":    "assessment history ladder pixel run",
	"internal/round":      "reading run",
	"internal/series":     "assessment circuit reading round run trend",
	"internal/drift":      "assessment control history reading run series trend verdict",
	// faces
	"internal/picture":          "assessment history legible prediction run",
	"internal/picture/invented": "assessment prediction reading run",
	"internal/report":           "assessment history legible picture prediction run",
	"internal/metrics":          "recorder run",
	"internal/daemon":           "clock fault metrics recorder",
	"internal/release":          "",
	"internal/demo":             "bench instrument ladder profile reading run runfile simulate survey",
	"internal/command": "assessment clock daemon demo disk draft drift fault history instrument judge legible lock metrics picture prediction profile " +
		"reading recorder report run runfile store survey",
	"cmd/ohmkeep": "command",
}

// Imports run in one direction only; tests may reach across.
func TestImportsKeepToTheHouse(t *testing.T) {
	seen := map[string]bool{}
	err := filepath.WalkDir("../..", func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return err
		}
		room, err := filepath.Rel("../..", filepath.Dir(file))
		if err != nil {
			return err
		}
		room = filepath.ToSlash(room)
		allowed, known := house[room]
		if !known {
			t.Errorf("%s: package %s is not in the house", file, room)
			return nil
		}
		seen[room] = true
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, spec := range parsed.Imports {
			name, _ := strconv.Unquote(spec.Path.Value) // the parser checked it
			if inside, ours := strings.CutPrefix(name, "ohmkeep/"); ours && !slices.Contains(strings.Fields(allowed), path.Base(inside)) {
				t.Errorf("%s: %s may not import %s", file, room, inside)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for room := range house {
		if !seen[room] {
			t.Errorf("the house has a room %s that does not exist", room)
		}
	}
}
