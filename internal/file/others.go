package file

import (
	"io/fs"
	"os"
	"runtime"
)

// OthersRead reports whether every user of the machine can read a file. On Windows, where
// permissions are of another kind, it is false.
func OthersRead(path string) bool {
	info, err := os.Stat(path)
	return err == nil && runtime.GOOS != "windows" && info.Mode()&fs.FileMode(0o004) != 0
}
