package machine

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// ReadDiskSpace returns the space on the disk that holds a path.
func ReadDiskSpace(path string) (DiskSpace, error) {
	var fs unix.Statfs_t
	if err := unix.Statfs(path, &fs); err != nil {
		return DiskSpace{}, fmt.Errorf("disk of %s: %w", path, err)
	}
	var at unix.Stat_t
	if err := unix.Stat(path, &at); err != nil {
		return DiskSpace{}, fmt.Errorf("disk of %s: %w", path, err)
	}
	block := int64(fs.Frsize)
	return DiskSpace{
		Free: int64(fs.Bavail) * block, Size: int64(fs.Blocks) * block,
		Written: written("/sys/dev/block", unix.Major(uint64(at.Dev)), unix.Minor(uint64(at.Dev))),
	}, nil
}

// written returns the bytes written to a block device since boot. The seventh number
// of its file stat counts sectors of 512 bytes, with any sector size of the device
// (kernel documentation, block/stat).
func written(devices string, major, minor uint32) int64 {
	text, err := os.ReadFile(filepath.Join(devices, fmt.Sprintf("%d:%d", major, minor), "stat"))
	if err != nil {
		return -1 // a network, memory or overlay file system
	}
	numbers := strings.Fields(string(text))
	if len(numbers) < 7 {
		return -1
	}
	sectors, err := strconv.ParseInt(numbers[6], 10, 64)
	if err != nil {
		return -1
	}
	return sectors * 512
}
