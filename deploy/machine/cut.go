//go:build linux

package machine

import (
	"fmt"
	"io"
	"math/rand/v2"
	"os"
)

// A loss is what a power cut does to writes that no flush has covered.
type loss string

const (
	none  loss = "nothing is lost"              // the order of writes is kept up to the cut
	some  loss = "any subset is lost"           // of the writes since the latest flush
	torn  loss = "the last write is torn"       // at a 512-byte sector, and any subset is lost
	lying loss = "flushes were not carried out" // all since an earlier flush is lost: a bad card
)

// tornAt is what a disk writes whole, bytes. (ATA, SCSI and SD have sectors of
// 512 bytes.)
const tornAt = 512

// A rebuilder makes disks as they were after cuts, in rising order.
type rebuilder struct {
	log     *writeLog
	durable *os.File // the disk with all that the latest flush covers
	done    int      // so many entries are in it
	lies    int      // so many flushes before a cut are not believed, for lying
}

// newRebuilder begins with the disk as it was when the log began, of which it
// makes the file at path its own copy.
func newRebuilder(log *writeLog, base, path string) (*rebuilder, error) {
	if err := copyFile(base, path); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	return &rebuilder{log: log, durable: f}, nil
}

func (r *rebuilder) close() error { return r.durable.Close() }

// flushed is the number of entries that the latest believed flush among the first
// n covers, itself included.
func (r *rebuilder) flushed(n int, how loss) int {
	skip := 0
	if how == lying {
		skip = r.lies
	}
	for i := n - 1; i >= 0; i-- {
		if r.log.entries[i].flags&flagFlush == 0 {
			continue
		}
		if skip--; skip < 0 {
			return i + 1
		}
	}
	return 0
}

// cut writes to path the disk as it was after n entries and a loss. n must not
// fall from one cut to the next, but by what lying takes back.
func (r *rebuilder) cut(n int, how loss, random *rand.Rand, path string) error {
	safe := r.flushed(n, how)
	if safe < r.done {
		return fmt.Errorf("a cut that keeps %d entries comes behind one that kept %d", safe, r.done)
	}
	for ; r.done < safe; r.done++ {
		if err := r.apply(r.durable, r.done, whole); err != nil {
			return err
		}
	}
	if err := copyFile(r.durable.Name(), path); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	for i := safe; i < n && err == nil && how != lying; i++ {
		e := r.log.entries[i]
		last := i == n-1
		switch {
		case !e.writes():
		case how == none || e.flags&flagForced != 0 && !(last && how == torn):
			err = r.apply(f, i, whole)
		case last && how == torn:
			err = r.apply(f, i, random.Int64N(e.length/tornAt)*tornAt)
		case random.IntN(2) == 0:
			err = r.apply(f, i, whole)
		}
	}
	if err := f.Close(); err != nil {
		return err
	}
	return err
}

const whole = -1

// apply carries out entry i, or the first bytes of it.
func (r *rebuilder) apply(f *os.File, i int, bytes int64) error {
	e := r.log.entries[i]
	if !e.writes() {
		return nil
	}
	if bytes == whole {
		bytes = e.length
	}
	_, err := io.Copy(io.NewOffsetWriter(f, e.offset), io.NewSectionReader(r.log.in, e.data, bytes))
	return err
}
