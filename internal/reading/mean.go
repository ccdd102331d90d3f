package reading

import "time"

// Mean describes the readings of one place in one step that a reading is the mean of.
type Mean struct {
	Count   int     // how many readings, 2 or more
	Scatter float64 // standard deviation of a single one, SI; 0 where all show the same number

	// Independent is how many independent readings the mean is worth, 1 to Count. It is
	// less than Count where readings that follow each other are alike, as in a slow drift:
	// noise that does not average out within the readings. Scatter/√Independent is
	// the standard deviation of the mean, the rounding to the last digit not included.
	Independent float64

	First, Last time.Time // of the readings
	Rows        []int     // their rows in the order of time; nil where they are too many to list
	Values      []float64 // what each of Rows showed, SI
}
