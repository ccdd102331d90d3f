package judge

import (
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Make assesses a run from its readings. The errors are those of solving the run's
// network; readings that take no part are told in the assessment.
func Make(r *run.Run, readings []reading.Reading) (*assessment.Assessment, error) {
	j, err := weigh(r, readings)
	if err != nil {
		return nil, err
	}
	return j.out, nil
}
