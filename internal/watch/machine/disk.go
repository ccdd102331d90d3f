package machine

// DiskSpace is the space on a disk and the number of bytes written to it, by which memory
// cards wear out.
type DiskSpace struct {
	Free    int64 // bytes that an ordinary user may still use
	Size    int64 // bytes
	Written int64 // bytes, to the device since boot, by all programs; -1 = not known
}
