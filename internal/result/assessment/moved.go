package assessment

import "ohmkeep/internal/run"

// Kind and Rail live in package run; these names stand in until every branch uses them.
type (
	Kind = run.Kind
	Rail = run.Rail
)

const (
	Joint  = run.KindJoint
	Feed   = run.KindFeed
	Reel   = run.KindReel
	Supply = run.KindSupply
	Loop   = run.Loop
	Plus   = run.Plus
	Minus  = run.Minus
)
