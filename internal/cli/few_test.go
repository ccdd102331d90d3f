package cli

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ohmkeep/internal/run/runtest"
)

// With no reading or one, two or three an assessment still gives numbers that a person can use:
// what the readings do not determine is the run file's figure in brackets, with the reason, and no
// interval runs from nothing to thousands. JSON has numbers all the same.
func TestFewReadings(t *testing.T) {
	s := newParallelSession(t)
	s.write("landing.toml", runtest.Landing)
	rows := []string{"full,voltage,left.start+,left.start-,11.95,V,hand\n", "full,current,near,,2.38,A,hand\n", "full,voltage,A+,A-,12.29,V,hand\n",
		"full,voltage,right.end+,right.end-,11.92,V,hand\n", "full,current,far,,2.14,A,hand\n"}
	interval := regexp.MustCompile(`(?m)^(?:UNPROVEN|pass|FAIL|) +((?:joint|feed|reel|supply) \S+)[^\n]*? (\(?)([0-9.]+)(\)?) mΩ(?:/m)? +([0-9.]+) … +([0-9.]+|∞) *([0-9.]*)$`)
	for first := range 3 {
		for count := range 4 {
			s.write("few.csv", "step,quantity,from,to,value,unit,meter\n"+strings.Join(rows[first:first+count], ""))
			text := s.do(`ohmkeep assess landing.toml few.csv`).exits(Unproven).out
			object := s.do(`ohmkeep assess landing.toml few.csv --json`).exits(Unproven).out
			where := fmt.Sprintf("%d readings from row %d", count, first)
			found, assumed := interval.FindAllStringSubmatch(text, -1), 0
			for _, m := range found {
				name, bracket := m[1], m[2] == "(" && m[4] == ")"
				kind, bare, _ := strings.Cut(name, " ")
				e := element(t, object, kind, bare)
				if bracket == e["known"].(bool) {
					t.Errorf("%s: %s is in brackets %v, known %v", where, name, bracket, e["known"])
				}
				if bracket {
					assumed++
				}
				low, _ := strconv.ParseFloat(m[5], 64)
				if high, err := strconv.ParseFloat(m[6], 64); err == nil && low == 0 && high > 2000 {
					t.Errorf("%s: %s has %s to %s mΩ", where, name, m[5], m[6])
				}
				value := "milliohms"
				if kind == "reel" {
					value = "milliohms_per_metre"
				}
				for _, key := range []string{value, "low"} {
					if _, is := e[key].(float64); !is {
						t.Errorf("%s: %s: %s is %v", where, name, key, e[key])
					}
				}
			}
			if len(found) < 4 {
				t.Fatalf("%s: %d elements in\n%s", where, len(found), text)
			}
			reason := "those of the run file"
			if count == 0 {
				reason = "the run file's own figures"
			}
			if flat := strings.Join(strings.Fields(text), " "); assumed > 1 && !strings.Contains(flat, reason) {
				t.Errorf("%s: no reason for the brackets in\n%s", where, text)
			}
		}
	}
}
