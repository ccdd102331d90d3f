package drift

import "ohmkeep/internal/result/history"

// Fails reports whether an element calls for somebody to look at it: its whole interval
// is over its limit, or its resistance is changing or has changed.
func Fails(s history.Series) bool {
	switch s.Verdict {
	case history.Drifting, history.Stepped, history.Intermittent:
		return true
	}
	return s.Low > s.Limit // false where there is no limit
}
