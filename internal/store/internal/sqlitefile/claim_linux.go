package sqlitefile

import "os"

// lockStore locks the file of a database itself, so that it can be claimed only once, by whichever
// path it is opened. The lock is independent of SQLite's (fcntl). But closing any descriptor of a
// file removes SQLite's locks, so the caller must close this one after SQLite has closed the file.
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
