package wording

import (
	"fmt"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// Cause names what a share belongs to.
func Cause(s colourloss.Share) string {
	switch {
	case s.Kind == run.KindReel:
		return "the reels' copper"
	case len(s.Names) > 1:
		plural := map[run.Kind]string{run.KindJoint: "joints", run.KindFeed: "feeds", run.KindSupply: "supplies"}
		return fmt.Sprintf("%d other %s", len(s.Names), plural[s.Kind])
	case s.Kind == run.KindSupply:
		return "trim of supply " + printable.Short(s.Names[0], 40)
	}
	return string(s.Kind) + " " + printable.Short(s.Names[0], 40)
}
