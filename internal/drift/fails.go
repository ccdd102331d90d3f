package drift

import "ohmkeep/internal/result/history"

// Fails reports whether an element needs attention: its whole interval is above its limit, or its
// resistance is changing or has changed.
func Fails(s history.Series) bool {
	switch s.Verdict {
	case history.Drifting, history.Jumped, history.Intermittent:
		return true
	}
	return s.Low > s.Limit // false where there is no limit
}
