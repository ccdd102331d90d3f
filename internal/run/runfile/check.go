package runfile

import (
	"fmt"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

// readChecks reads the steps that the controller shows by itself every day:
//
//	[[check]]
//	step           = "white 5 %"
//	at             = "03:30"     # in the time zone of the machine that watches
//	seconds        = 60          # how long it is shown
//	settle_seconds = 2           # of these: what it takes to come up; default 2
func (r *reader) readChecks() {
	r.checks = r.root.Tables("check")
	for _, t := range r.checks {
		c := run.Check{
			Step:    -1,
			Seconds: requireNumber(t, "seconds", shown, "how long it is shown"),
			Settle:  readNumberOr(t, "settle_seconds", 2, settling),
		}
		requireText(t, "step", "which step is shown")
		if at := requireText(t, "at", `when, such as "03:30"`); at != "" {
			c.At = minute(t, at)
		}
		if c.Seconds > 0 && c.Settle >= c.Seconds {
			t.Fault("settle_seconds", fmt.Sprintf("%g s are not less than the %g s for which it is shown", c.Settle, c.Seconds), "")
		}
		r.run.Checks = append(r.run.Checks, c)
	}
}

// minute reads a time of day as minutes after midnight.
func minute(t *toml.Table, at string) int {
	var digits [4]int
	ok := len(at) == 5 && at[2] == ':'
	for i, k := range []int{0, 1, 3, 4} {
		if ok = ok && at[k] >= '0' && at[k] <= '9'; ok {
			digits[i] = int(at[k] - '0')
		}
	}
	hour, minute := 10*digits[0]+digits[1], 10*digits[2]+digits[3]
	if !ok || hour > 23 || minute > 59 {
		t.Fault("at", fmt.Sprintf("%q is not a time of day", at), "00:00 to 23:59")
		return 0
	}
	return 60*hour + minute
}

// resolveChecks resolves the steps of the checks, and reports checks that overlap.
func (r *reader) resolveChecks() {
	var all []string
	for _, s := range r.run.Steps {
		all = append(all, s.Name)
	}
	const day = 24 * 3600
	for i, t := range r.checks {
		c := &r.run.Checks[i]
		if name, ok := t.Text("step"); ok && name != "" {
			if c.Step = r.run.StepIndex(name); c.Step < 0 {
				unknownName(t, "step", "step", name, all)
			}
		}
		for k, other := range r.run.Checks[:i] {
			apart := float64(((c.At-other.At)*60 + day) % day) // from the other's beginning to this one's
			if apart < other.Seconds || day-apart < c.Seconds {
				t.Fault("at", fmt.Sprintf("is shown while the check on line %d is", r.checks[k].Line("")), "one step at a time")
			}
		}
	}
}
