package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Any two steps of the example's commissioning, exchanged, are named as such, with any load in
// the third, and the verdicts are those of the readings as they were.
func TestExchangedStepsOfTheExample(t *testing.T) {
	const runFile = "../../testdata/commissioning/run.toml"
	text, err := os.ReadFile("../../testdata/commissioning/readings.csv")
	if err != nil {
		t.Fatal(err)
	}
	type result struct {
		Elements []struct{ Kind, Name, Rail, Verdict string }
		Findings []struct{ Text string }
	}
	assess := func(readings string) (r result) {
		file := filepath.Join(t.TempDir(), "readings.csv")
		if err := os.WriteFile(file, []byte(readings), 0o600); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		Run(context.Background(), []string{"assess", runFile, file, "--json"}, strings.NewReader(""), &out, &errs)
		if err := json.Unmarshal(out.Bytes(), &r); err != nil {
			t.Fatal(err, errs.String())
		}
		return r
	}
	want := assess(string(text))
	pairs := [][2]string{{"dark", "white 5 %"}, {"white 12 %", "white 5 %"}, {"dark", "white 12 %"}}
	if !*asTheyStand {
		pairs = pairs[1:2]
	}
	for _, pair := range pairs {
		a, b := ","+pair[0]+",", ","+pair[1]+","
		got := assess(strings.NewReplacer(a, b, b, a).Replace(string(text)))
		said := fmt.Sprint(got.Findings)
		if says := fmt.Sprintf("Steps %q and %q seem to have been exchanged", pair[0], pair[1]); !strings.Contains(said, says) {
			t.Errorf("%v: %s", pair, said)
		}
		for i, e := range got.Elements {
			if i >= len(want.Elements) || e != want.Elements[i] {
				t.Errorf("%v: %+v, want %+v", pair, got.Elements, want.Elements)
				break
			}
		}
	}
}
