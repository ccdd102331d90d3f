package cli

import (
	"strings"
	"testing"
	"time"
)

func TestKeepIsRead(t *testing.T) {
	for text, want := range map[string]time.Duration{"2y": 730 * day, "18w": 126 * day, "400d": 400 * day, "8760h": 365 * day, "0.5y": 4380 * time.Hour} {
		var k retention
		if err := k.Set(text); err != nil || time.Duration(k) != want {
			t.Errorf("%s: %v, %v", text, time.Duration(k), err)
		}
		var again retention
		if err := again.Set(k.String()); err != nil || again != k {
			t.Errorf("%s is written as %s", text, &k)
		}
	}
	for text, want := range map[string]string{"2": "no time such as", "y": "no time such as", "2 years": "no time such as", "1d": "less than 30d",
		"-2y": "less than 30d", "NaNy": "less than 30d", "200y": "for ever", "Infd": "for ever"} {
		var k retention
		if err := k.Set(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", text, err)
		}
	}
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.do(`ohmkeep watch shelf.toml --store shelf.db --keep 3`).refused(`"--keep" flag: no time such as 2y`)
}
