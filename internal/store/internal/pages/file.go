package pages

import (
	"encoding/binary"
	"errors"
	"io"
	"io/fs"
	"os"
)

// File reads pages from the file of a database that no program has open, and from its log.
type File struct {
	file, log *os.File // log is nil if the database has no log
	size      int      // of a page
	count     int
	logged    map[int]int64 // where the log holds the newest content of a page
	buffer    []byte
}

// Open opens the file of a database and its log. size is the page size if the header states none.
func Open(path string, size int) (*File, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	f := &File{file: file, size: size}
	head := make([]byte, headerSize)
	if _, err := file.ReadAt(head, 0); err != nil && err != io.EOF {
		return nil, errors.Join(err, f.Close())
	}
	if n := pageSize(head); n > 0 && string(head[:len(magic)]) == magic {
		f.size = n
	}
	info, err := file.Stat()
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	f.count = int((info.Size() + int64(f.size) - 1) / int64(f.size)) // the last page may be incomplete
	f.buffer = make([]byte, f.size)
	if f.log, err = os.Open(path + "-wal"); errors.Is(err, fs.ErrNotExist) {
		return f, nil
	} else if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	if err := f.readLog(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// Close closes both files.
func (f *File) Close() error {
	err := f.file.Close()
	if f.log != nil {
		err = errors.Join(err, f.log.Close())
	}
	return err
}

// Count returns the number of pages, including incomplete ones.
func (f *File) Count() int { return f.count }

// Page returns a page. Bytes that the file lacks are zero.
func (f *File) Page(n int) ([]byte, error) {
	if n < 1 || n > f.count {
		return nil, ErrPage
	}
	from, at := f.file, int64(n-1)*int64(f.size)
	if logged, ok := f.logged[n]; ok {
		from, at = f.log, logged
	}
	read, err := from.ReadAt(f.buffer, at)
	if err != nil && err != io.EOF {
		clear(f.buffer) // the disk cannot read it; other pages may be readable
		return f.buffer, nil
	}
	clear(f.buffer[read:])
	return f.buffer, nil
}

// pageSize returns the page size that a header states; 0 if it is not valid.
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

// The log (section 4.1): a header, and frames of a header and a page each.
const (
	logMagic      = 0x377f0682 // with the last bit 0; that bit states the byte order of checksums
	logHeaderSize = 32
	frameSize     = 24
)

// readLog finds the newest committed content of each page in the log.
func (f *File) readLog() error {
	head := make([]byte, logHeaderSize)
	if _, err := io.ReadFull(f.log, head); err != nil {
		return ignoreEnd(err)
	}
	number := binary.BigEndian.Uint32(head)
	if number&^1 != logMagic || binary.BigEndian.Uint32(head[8:]) != uint32(f.size) {
		return nil // SQLite would ignore it
	}
	var order binary.ByteOrder = binary.LittleEndian
	if number&1 != 0 {
		order = binary.BigEndian
	}
	sum := checksum{order: order}
	if sum.add(head[:24]); !sum.matches(head[24:]) {
		return nil
	}
	f.logged = map[int]int64{}
	pending := map[int]int64{}
	frame := make([]byte, frameSize+f.size)
	for at := int64(logHeaderSize); ; at += int64(len(frame)) {
		if _, err := io.ReadFull(f.log, frame); err != nil {
			return ignoreEnd(err)
		}
		sum.add(frame[:8])
		if sum.add(frame[frameSize:]); string(frame[8:16]) != string(head[16:24]) || !sum.matches(frame[16:]) {
			return nil
		}
		pending[int(binary.BigEndian.Uint32(frame))] = at + frameSize
		if count := binary.BigEndian.Uint32(frame[4:]); count > 0 { // the last of a commit
			f.count = max(f.count, int(count))
			for page, at := range pending {
				f.logged[page] = at
			}
			clear(pending)
		}
	}
}

func ignoreEnd(err error) error {
	if err == io.EOF || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil
	}
	return err
}

// checksum is the checksum of a log (section 4.2).
type checksum struct {
	order  binary.ByteOrder
	s0, s1 uint32
}

func (c *checksum) add(b []byte) {
	for ; len(b) >= 8; b = b[8:] {
		c.s0 += c.order.Uint32(b) + c.s1
		c.s1 += c.order.Uint32(b[4:]) + c.s0
	}
}

func (c *checksum) matches(b []byte) bool {
	return binary.BigEndian.Uint32(b) == c.s0 && binary.BigEndian.Uint32(b[4:]) == c.s1
}
