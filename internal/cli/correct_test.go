package cli

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// What a board sends as register words is stored as counts; a shunt that was stated
// wrongly is put right for what is stored. SBOS547 (June 2011), table 1: 8000 counts of
// 2.5 µV over 2 mΩ are 10 A, and 9584 of 1.25 mV are 11.98 V; over 1.6 mΩ the same 20 mV
// are 12.5 A (Ohm's law). A word at the end of its scale is no value by any shunt.
func TestCorrectedShuntOfStoredWords(t *testing.T) {
	s := newParallelSession(t)
	pair := s.terminal()
	words := strings.Replace(board("cabinet", pair.Path), "plain-lines", "ina226-registers", 1)
	words = strings.Replace(words, `id = "2"`, `id = "1"`, 1)
	s.write("shelf.toml", shelf+words)
	w := s.watch("--commit", "50ms")
	s.say(pair, "ch=1 shunt=1F40 bus=2570\nch=1 shunt=7FFF bus=2570\n")
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 3`)
	w.ends()
	values := func() string {
		t.Helper()
		var all []string
		for _, line := range strings.Split(strings.TrimSpace(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out), "\n")[1:] {
			f := strings.Split(line, ",")
			all = append(all, f[2]+" "+f[5]+f[6])
		}
		return strings.Join(all, ", ")
	}
	if got, want := values(), "current 10.00000A, voltage 11.98000V, voltage 11.98000V"; got != want && got != "voltage 11.98000V, current 10.00000A, voltage 11.98000V" {
		t.Errorf("exported %s, want %s", got, want)
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db > before.csv`).exits(Passes)
	s.do(`ohmkeep import shelf.toml before.csv --store shelf.db`).exits(Passes).prints("0 readings stored in shelf.db, 3 already there")
	s.do(`ohmkeep store correct shelf.toml --store shelf.db`).exits(Passes).prints("shelf.db: nothing to correct\n")

	right := strings.Replace(s.content("shelf.toml"), "quantity = \"current\"\n  from = \"near\"", "quantity = \"current\"\n  from = \"near\"\n  shunt_milliohms = 1.6", 1)
	s.write("right.toml", right)
	s.do(`ohmkeep store correct right.toml --store shelf.db`).exits(Passes).
		prints("probe cabinet, channel 1, current: one count is 0.0015625 A, was 0.00125\n")
	if got := values(); !strings.Contains(got, "current 12.5000000A") || strings.Count(got, "11.98000V") != 2 {
		t.Errorf("corrected: %s", got)
	}
	s.do(`ohmkeep store correct right.toml --store shelf.db`).exits(Passes).prints("nothing to correct")
	s.do(`ohmkeep store correct shelf.toml --store shelf.db`).exits(Passes).prints("one count is 0.00125 A, was 0.0015625\n")
	if s.do(`ohmkeep export shelf.toml --store shelf.db`).out != s.content("before.csv") {
		t.Error("and back again it is not as before")
	}
	// Any number is a shunt: 20 mV over it by Ohm's law.
	for ohms, amps := range map[string]string{"1.9": "10.5263158", "1.96": "10.2040816", "1.98": "10.1010101", "2.02": "9.90099010", "2.2": "9.09090909", "3": "6.66666667"} {
		s.write("any.toml", strings.Replace(right, "shunt_milliohms = 1.6", "shunt_milliohms = "+ohms, 1))
		s.do(`ohmkeep store correct any.toml --store shelf.db`).exits(Passes).prints("probe cabinet, channel 1, current: one count is ")
		_, value, _ := strings.Cut(values(), "current ")
		value, _, _ = strings.Cut(value, "A")
		got, err := strconv.ParseFloat(value, 64)
		want, _ := strconv.ParseFloat(amps, 64)
		if err != nil || math.Abs(got-want) > 1e-7 {
			t.Errorf("over %s mΩ: %s, want %s", ohms, value, amps)
		}
		s.do(`ohmkeep export any.toml --store shelf.db > any.csv`).exits(Passes)
		s.do(`ohmkeep import any.toml any.csv --store shelf.db`).exits(Passes).prints("0 readings stored in shelf.db, 3 already there")
	}
	s.do(`ohmkeep store correct shelf.toml --store none.db`).refused("none.db: there is no such store")
	s.do(`ohmkeep store correct shelf.toml`).refused("wants --store FILE")
}

// Counts that no register can hold are marked and do not disturb other readings.
func TestCountsBeyondAll(t *testing.T) {
	s := newParallelSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+strings.Replace(board("cabinet", pair.Path), "plain-lines", "ina226-lines", 1))
	w := s.watch("--commit", "50ms")
	s.say(pair, "ch=1 bus=9999999999999999 shunt=8000\nch=1 bus=9584 shunt=8000\n")
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 1`)
	w.ends()
	if out := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; strings.Count(out, "\n") != 2 || !strings.Contains(out, ",11.98000,V,") {
		t.Errorf("exported\n%s", out)
	}
}
