package reading

import "fmt"

// Quality tells what a device's indication is worth. Only Good ones are readings;
// of the others what the device said is kept, and no value. Its numbers do not change.
type Quality int

const (
	Good      Quality = iota
	Overload          // beyond the range that the instrument was in
	Saturated         // a register or the chip's arithmetic was at its end
	Unsettled         // taken too soon after a change, or before a conversion was done
	Faulty            // the device says that it has no value
)

var qualityNames = []string{"good", "overload", "saturated", "unsettled", "faulty"}

func (q Quality) String() string {
	if q < 0 || int(q) >= len(qualityNames) {
		return fmt.Sprintf("Quality(%d)", int(q))
	}
	return qualityNames[q]
}
