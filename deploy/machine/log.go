package machine

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/bits"
)

// The format of the log is that of Linux's dm-log-writes, which QEMU's
// blklogwrites writes as well: a first sector with magic, version, number of
// entries and size of a sector; then the entries, each a sector with a header and,
// for a write, its data. All numbers are little-endian.
// (Documentation/admin-guide/device-mapper/log-writes.rst; drivers/md/dm-log-writes.c)
const (
	logMagic   = 0x6a736677736872
	logVersion = 1

	flagFlush   = 1 << 0 // all writes that ended before are on the medium
	flagForced  = 1 << 1 // FUA: this write is on the medium when it ends
	flagDiscard = 1 << 2 // has no data
	flagMark    = 1 << 3 // a name, no write
)

// An entry is one write, flush, discard or mark.
type entry struct {
	start  int64 // of its header in the log, bytes
	flags  uint64
	offset int64 // on the disk, bytes
	length int64 // of the write or discard, bytes
	data   int64 // where its data begin in the log, bytes
}

// writes reports whether the entry has data that go to the disk.
func (e entry) writes() bool { return e.flags&(flagDiscard|flagMark) == 0 && e.length > 0 }

// A writeLog is what happened to a disk, in the order in which it was done.
type writeLog struct {
	in      io.ReaderAt
	entries []entry
	end     int64 // of the last entry, bytes
}

// after is the number of entries that begin before a size that the log once had.
// What was done by then is among them.
func (l *writeLog) after(size int64) int {
	n := len(l.entries)
	for n > 0 && l.entries[n-1].start >= size {
		n--
	}
	return n
}

// readLog reads the log of the given size in bytes. The last entry may be cut
// short, as a killed machine leaves it; such a one is left out. The error says
// that it is no log, or holds less than it claims.
func readLog(in io.ReaderAt, size int64) (*writeLog, error) {
	var super [28]byte
	if _, err := in.ReadAt(super[:], 0); err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if magic := binary.LittleEndian.Uint64(super[:]); magic != logMagic {
		return nil, fmt.Errorf("begins with %#x: no log of writes", magic)
	}
	if v := binary.LittleEndian.Uint64(super[8:]); v != logVersion {
		return nil, fmt.Errorf("version %d: only 1 is known", v)
	}
	promised := binary.LittleEndian.Uint64(super[16:])
	sector := int64(binary.LittleEndian.Uint32(super[24:]))
	if sector < 512 || sector > 1<<16 || bits.OnesCount64(uint64(sector)) != 1 {
		return nil, fmt.Errorf("sectors of %d bytes: want a power of two from 512 to 65536", sector)
	}
	l := &writeLog{in: in, end: sector}
	for l.end+sector <= size {
		e, next, err := readEntry(in, l.end, sector, size)
		if err != nil {
			return nil, fmt.Errorf("entry %d at byte %d: %w", len(l.entries), l.end, err)
		}
		if next == 0 {
			break
		}
		l.entries = append(l.entries, e)
		l.end = next
	}
	if uint64(len(l.entries)) < promised {
		return nil, fmt.Errorf("has %d entries, and says that they are %d", len(l.entries), promised)
	}
	return l, nil
}

// readEntry reads the entry at a place. next is where the one behind it begins, 0
// if there is no whole entry here.
func readEntry(in io.ReaderAt, at, sector, size int64) (e entry, next int64, err error) {
	var head [32]byte
	if _, err := in.ReadAt(head[:], at); err != nil {
		return e, 0, err
	}
	first, count := binary.LittleEndian.Uint64(head[:]), binary.LittleEndian.Uint64(head[8:])
	flags, named := binary.LittleEndian.Uint64(head[16:]), binary.LittleEndian.Uint64(head[24:])
	const most = 1 << 40 // bytes of a disk, far beyond any here
	if first > most/uint64(sector) || count > most/uint64(sector) || named > most {
		return e, 0, fmt.Errorf("%d sectors from %d, %d bytes: no disk is so large", count, first, named)
	}
	e = entry{start: at, flags: flags, offset: int64(first) * sector, length: int64(count) * sector, data: at + sector}
	next = e.data
	switch {
	case flags == 0 && count == 0:
		return e, 0, nil // not written
	case flags&flagMark != 0:
		e.length = 0
		next += (int64(named) + sector - 1) / sector * sector
	case e.writes():
		next += e.length
	}
	if next > size {
		return e, 0, nil
	}
	return e, next, nil
}
