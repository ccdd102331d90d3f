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
	"internal/form":       "",
	"internal/colour":     "",
	"internal/conductor":  "fault",
	"internal/document":   "fault",
	"internal/ldl":        "",
	"internal/run":        "colour conductor fault",
	"internal/reading":    "fault openmetrics run",
	"internal/column":     "",
	"internal/indication": "",
	"internal/chunk":      "column indication",
	// description
	"probes":           "",
	"internal/runfile": "colour conductor document fault run",
	"internal/profile": "document fault ina probes run",
	"internal/ina":     "",
	"internal/draft":   "conductor fault form runfile",
	// model
	"internal/pixel":        "run",
	"internal/ladder":       "ldl pixel run",
	"internal/light":        "colour pixel run",
	"internal/leastsquares": "",
	"internal/trend":        "",
	"internal/control":      "",
	// world
	"internal/board":           "fault ina profile reading run",
	"internal/scpi":            "",
	"internal/port":            "profile",
	"internal/hwmon":           "fault",
	"internal/instrument":      "board fault hwmon port profile reading run scpi",
	"internal/bench":           "profile run",
	"internal/transcript":      "fault",
	"internal/store":           "archive chunk database diary fault indication keeper reading recall rescue retention run",
	"internal/rescue":          "archive chunk database",
	"internal/archive":         "chunk database indication reading run",
	"internal/recall":          "archive chunk indication reading",
	"internal/retention":       "archive chunk recall",
	"internal/keeper":          "archive chunk database diary fault indication reading run",
	"internal/diary":           "",
	"internal/database":        "fault",
	"internal/survey":          "instrument reading run",
	"internal/clock":           "",
	"internal/disk":            "",
	"internal/recorder":        "clock fault instrument probe profile reading run",
	"internal/simulate":        "ladder pixel reading run survey",
	"internal/simulate/months": "ladder reading run simulate",
	"internal/probe":           "bench board fault instrument profile run simulate survey transcript",
	// judgement and what it hands on
	"internal/assessment":           "reading run",
	"internal/verdict":              "assessment",
	"internal/prediction":           "ladder pixel run",
	"internal/rating":               "ladder light pixel run",
	"internal/remedy":               "assessment conductor estimate ladder pixel rating run verdict",
	"internal/chisquared":           "",
	"internal/covariance":           "leastsquares",
	"internal/prior":                "",
	"internal/measurement":          "chisquared covariance ladder leastsquares pixel prior reading run",
	"internal/hypothesis":           "covariance leastsquares measurement prior run verdict",
	"internal/estimate":             "assessment chisquared covariance hypothesis ladder leastsquares measurement pixel prior reading run verdict",
	"internal/prospect":             "assessment covariance estimate leastsquares measurement run verdict",
	"internal/shapley":              "",
	"internal/appearance":           "assessment colour estimate ladder light pixel run shapley",
	"internal/judge":                "assessment estimate prediction prospect reading run verdict",
	"internal/plan":                 "assessment estimate judge prospect run verdict",
	"internal/picture":              "appearance assessment colour history legible prediction run",
	"internal/picture/invented":     "assessment prediction reading run",
	"internal/measurement/invented": "ladder pixel reading run",
	"internal/report":               "appearance assessment colour form history legible picture plan prediction rating remedy run",
	"internal/demo":                 "bench instrument ladder profile reading run runfile simulate survey",
	"internal/command":              "appearance assessment clock conductor daemon demo disk draft drift estimate fault history instrument judge legible metrics picture plan prediction probe profile prospect rating reading recorder remedy report run runfile store survey transcript",
	"cmd/ohmkeep":                   "command",
	"internal/metrics":              "recorder run",
	"internal/daemon":               "clock fault form metrics recorder",
	"internal/release":              "",
	"internal/history":              "assessment run",
	"internal/circuit":              "assessment history ladder pixel run",
	"internal/round":                "reading run",
	"internal/openmetrics":          "",
	"internal/series":               "assessment circuit reading round run trend",
	"internal/drift":                "assessment control history reading run series trend verdict",
}

// Imports run in one direction only; tests may reach across.
func TestImportsKeepToTheHouse(t *testing.T) {
	seen := map[string]bool{}
	used := map[string]bool{} // "room part"
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
			inside, ours := strings.CutPrefix(name, "ohmkeep/")
			if !ours {
				continue
			}
			used[room+" "+path.Base(inside)] = true
			if !slices.Contains(strings.Fields(allowed), path.Base(inside)) {
				t.Errorf("%s: %s may not import %s", file, room, inside)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for room, allowed := range house {
		if !seen[room] {
			t.Errorf("the house has a room %s that does not exist", room)
		}
		for _, other := range strings.Fields(allowed) {
			if !used[room+" "+other] {
				t.Errorf("%s may import %s, and does not", room, other)
			}
		}
	}
}
