package wording

import (
	"fmt"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/printable"
)

// Cause names what a share belongs to.
func Cause(s colourloss.Share) string {
	switch {
	case s.Kind == assessment.Reel:
		return "the reels' copper"
	case len(s.Names) > 1:
		plural := map[assessment.Kind]string{assessment.Joint: "joints", assessment.Feed: "feeds", assessment.Supply: "supplies"}
		return fmt.Sprintf("%d other %s", len(s.Names), plural[s.Kind])
	case s.Kind == assessment.Supply:
		return "trim of supply " + printable.Short(s.Names[0], 40)
	}
	return string(s.Kind) + " " + printable.Short(s.Names[0], 40)
}
