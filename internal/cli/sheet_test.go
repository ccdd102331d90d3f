package cli

import (
	"encoding/csv"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/calibrationtest"
)

// What plan writes as a sheet is filled in, here by a simulated run with a bad joint, and
// assess reads it back: every joint and feed is decided, as the plan promised.
func TestSheetIsFilledInAndAssessed(t *testing.T) {
	s := newSession(t)
	s.walk(60, everything)
	s.do(`ohmkeep plan shelf.toml --sheet sheet.csv`).exits(Passes).says("sheet: sheet.csv, to print: sheet.html")
	if page := s.content("sheet.html"); !strings.Contains(page, "Set step “white 5 %”, then read") || !strings.Contains(page, `<td class="fill"></td>`) {
		t.Error("the page has nothing to fill in")
	}
	rows, err := csv.NewReader(strings.NewReader(s.content("sheet.csv"))).ReadAll()
	if err != nil || len(rows) < 3 {
		t.Fatalf("%v: %v", err, rows)
	}
	r := runtest.Load(t, "shelf.toml")
	var visits []survey.Visit
	for _, row := range rows[1:] {
		quantity := run.Voltage
		if row[2] == run.Current.String() {
			quantity = run.Current
		}
		visits = append(visits, survey.Visit{Quantity: quantity, From: row[3], To: row[4]})
	}
	rng := rand.New(rand.NewPCG(5, 6))
	plant := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
	plant.Joints[0] = ladder.Rails{Plus: 0.03, Minus: 0.03}
	readings, err := plant.Walk(visits, rng, time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	walked := map[string]string{} // volts and amperes by step, quantity and places
	for _, r := range readings {
		walked[r.Step+","+r.Quantity.String()+","+r.From+","+r.To] = strconv.FormatFloat(r.Value, 'f', 4, 64)
	}
	var filled strings.Builder
	out := csv.NewWriter(&filled)
	for i, row := range rows {
		if i > 0 {
			value, known := walked[strings.Join(row[1:5], ",")]
			if !known || row[0] != "" || row[5] != "" {
				t.Fatalf("row %q", row)
			}
			if row[6] == "mV" {
				volts, _ := strconv.ParseFloat(value, 64)
				value = strconv.FormatFloat(1000*volts, 'f', 1, 64)
			}
			row[5] = value
		}
		_ = out.Write(row)
	}
	out.Flush()
	s.do(`ohmkeep assess shelf.toml sheet.csv`).exits(Wrong)
	s.write("sheet.csv", filled.String())
	s.do(`ohmkeep assess shelf.toml sheet.csv`).exits(Fails).prints("FAIL: 1 of", "joint left-right")
	s.do(`ohmkeep plan shelf.toml --sheet sheet.csv`).refused("sheet.csv: is a file of readings that is there already")
	s.do(`ohmkeep plan shelf.toml --sheet shelf.toml --force`).refused("shelf.toml: is read by the same call")
}
