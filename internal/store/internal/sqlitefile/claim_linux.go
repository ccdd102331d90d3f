package sqlitefile

import "os"

// lockStore locks the file of a database itself, so that it can be claimed once under any path by which it is reached. SQLite locks files in another way (fcntl), which this
// does not touch. But closing any descriptor of a file takes SQLite's locks away: the
// caller closes it after SQLite has.
func lockStore(path string) (*os.File, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	if err := lockFile(file, true); err != nil {
		file.Close()
		return nil, err
	}
	return file, nil
}
