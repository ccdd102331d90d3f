package find

import (
	"strings"
	"testing"
)

// What is read of received bytes: by the profile that reads most of it, at its own settings or, for lines, at others.
func TestUnderstand(t *testing.T) {
	o, err := Usual()
	if err != nil {
		t.Fatal(err)
	}
	settings := settingsOf(o.Profiles)
	at := func(baud int) int {
		for i, s := range settings {
			if s.Baud == baud {
				return i
			}
		}
		t.Fatalf("no profile has %d baud", baud)
		return 0
	}
	for _, c := range []struct {
		name, received string
		baud           int
		others         bool
		want           string
		differ         bool
	}{
		{"own rate", strings.Repeat("1,4.8,V\n", 3), 115200, false, "plain-lines", false},
		{"the first line is a rest", "8,V\n1,4.8,V\n", 115200, false, "plain-lines", false},
		{"another rate, not wanted", strings.Repeat("1,4.8,V\n", 3), 9600, false, "", false},
		{"another rate", strings.Repeat("1,4.8,V\n", 3), 9600, true, "plain-lines", true},
		{"half of it", strings.Repeat("1,4.8,V\nlux 3\n", 9), 115200, false, "", false},
		{"nothing", "", 115200, true, "", false},
	} {
		f, ok := understand(t.Context(), "p", []byte(c.received), settings[at(c.baud)], o.Profiles, c.others)
		if ok != (c.want != "") || ok && (f.Profile.Name != c.want || f.SettingsDiffer() != c.differ || f.Settings.Baud != c.baud) {
			t.Errorf("%s: %+v, %v", c.name, f, ok)
		}
	}
}
