package runfile

import (
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run"
)

func TestInstallation(t *testing.T) {
	r, err := Parse("hall.toml", []byte(base+"[installation]\nfor = \" The hall's owner, flat 3 \"\nplace = \"Hall\"\ninstaller = \"Workshop <2>\"\ndate = \"2026-11-20\"\n"))
	want := run.Installation{For: "The hall's owner, flat 3", Place: "Hall", Installer: "Workshop <2>", Date: time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC)}
	if err != nil || r.Installation != want {
		t.Errorf("%v %+v", err, r)
	}
	if r, err := Parse("hall.toml", []byte(base)); err != nil || r.Installation != (run.Installation{}) {
		t.Errorf("without: %v %+v", err, r)
	}
	for line, fault := range map[string]string{
		`for = ""`:       "installation.for: is empty (leave the key out)",
		`place = "a\nb"`: "holds a control character",
		`place = 3`:      "installation.place: ",
		`installer = "` + strings.Repeat("n", 201) + `"`: "is longer than 200 letters",
		`date = "20.11.2026"`:                            `installation.date: "20.11.2026" is not a day (such as "2026-11-20")`,
		`date = 2026-11-20`:                              "installation.date: ",
		`owner = "x"`:                                    "is not known here",
	} {
		if _, err := Parse("hall.toml", []byte(base+"[installation]\n"+line+"\n")); err == nil || !strings.Contains(err.Error(), fault) {
			t.Errorf("%s: %v, want %q", line, err, fault)
		}
	}
}
