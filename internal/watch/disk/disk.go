// Package disk tells how full the disk is that something lies on, and how much
// has been written to it: cards wear out by what is written.
package disk

// Space is what a disk holds, in bytes.
type Space struct {
	Free    int64 // what an ordinary user may still use
	Size    int64
	Written int64 // to the device since boot, by all programs; -1 = not known
}
