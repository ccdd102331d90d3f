package judge

import (
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Make assesses a run from its readings. It returns an error where the run's network cannot be
// solved. Readings that were not used are listed in the assessment.
func Make(r *run.Run, readings []reading.Reading) (*assessment.Assessment, error) {
	j, err := judgeReadings(r, readings)
	if err != nil {
		return nil, err
	}
	return j.out, nil
}
