package sqlitefile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"io/fs"
	"os"
)

// Places in the head of a database (SQLite, "Database File Format", 1.3).
const (
	pageSizeAt = 16
	pagesAt    = 28
	versionAt  = 60
)

// Mended gives the path of a database that SQLite will open where it would refuse the
// one at path as a whole: one whose head is broken, or that was cut off. It is a copy,
// to be removed with done, in which the head is made anew and what is missing is zeros;
// where nothing has to be mended it is path itself. The log goes with it.
func Mended(path string, schema Schema) (to string, done func(), err error) {
	head := make([]byte, headSize+1)
	size, err := readHead(path, head)
	if err != nil || size <= headSize {
		return path, func() {}, err
	}
	want := mendedHead(head, size, schema)
	whole := int64(pageSize(want)) * int64(binary.BigEndian.Uint32(want[pagesAt:]))
	if bytes.Equal(want, head[:headSize]) && whole <= size {
		return path, func() {}, nil
	}
	to = path + ".mended"
	done = func() {
		for _, ending := range []string{"", "-wal", "-shm"} {
			_ = os.Remove(to + ending) // what cannot be removed does no harm
		}
	}
	done()
	for _, ending := range []string{"", "-wal"} {
		if err := copyFile(path+ending, to+ending); err != nil && (ending == "" || !errors.Is(err, fs.ErrNotExist)) {
			done()
			return "", nil, err
		}
	}
	if err := overwrite(to, want, max(whole, size)); err != nil {
		done()
		return "", nil, err
	}
	return to, done, nil
}

func readHead(path string, head []byte) (size int64, err error) {
	file, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return 0, err
	}
	if _, err := io.ReadFull(file, head); err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && err != io.EOF {
		return 0, err
	}
	return info.Size(), nil
}

// pageSize gives that of a head; 0 where it cannot be one.
func pageSize(head []byte) int {
	n := int(binary.BigEndian.Uint16(head[pageSizeAt:]))
	switch {
	case n == 1:
		return 1 << 16
	case n < 512 || n&(n-1) != 0:
		return 0
	}
	return n
}

// mendedHead gives the head as it is, where it is one, and otherwise one made anew.
func mendedHead(head []byte, size int64, schema Schema) []byte {
	// Behind the magic number the numbers of format and payload never change.
	fixed := []byte{64, 32, 32}
	if bytes.HasPrefix(head, []byte(magic)) && pageSize(head) > 0 && bytes.Equal(head[21:24], fixed) {
		return head[:headSize]
	}
	// 13 and 5 begin a page of a table. Where it is none, the table of tables is lost
	// too, and no head helps; but it does no harm.
	anew := make([]byte, headSize)
	copy(anew, magic)
	binary.BigEndian.PutUint16(anew[pageSizeAt:], uint16(schema.PageSize))
	anew[18], anew[19] = 2, 2 // with a log
	copy(anew[21:], fixed)
	binary.BigEndian.PutUint32(anew[24:], 1)
	binary.BigEndian.PutUint32(anew[pagesAt:], uint32(size/int64(schema.PageSize)))
	binary.BigEndian.PutUint32(anew[40:], 1) // cookie
	binary.BigEndian.PutUint32(anew[44:], 4) // format of the schema
	binary.BigEndian.PutUint32(anew[56:], 1) // UTF-8
	binary.BigEndian.PutUint32(anew[versionAt:], uint32(schema.Version))
	binary.BigEndian.PutUint32(anew[applicationAt:], uint32(schema.Application))
	binary.BigEndian.PutUint32(anew[92:], 1) // change at which the number of pages held
	return anew
}

func copyFile(from, to string) error {
	source, err := os.Open(from)
	if err != nil {
		return err
	}
	defer source.Close()
	file, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(file, source)
	return errors.Join(err, file.Close())
}

// overwrite sets the beginning and the length of a file.
func overwrite(path string, head []byte, size int64) error {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	_, err = file.WriteAt(head, 0)
	if err == nil {
		err = file.Truncate(size)
	}
	return errors.Join(err, file.Close())
}
