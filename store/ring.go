package store

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"os"
	"slices"

	"go.etcd.io/bbolt"
)

// The journal is a ring of slots inside the store's file: one value of one bucket,
// which bbolt never touches again once it is made, so that its pages stay where
// they are. What is to be kept is written into the next slots, in place, and is on
// disk after one flush of data: the file does not grow and no page of bbolt's
// changes. A slot is never written again before what it holds is in bbolt's pages,
// so a write that the power cuts short harms nothing that was acknowledged.
const (
	ringSlots = 128 // of pageSize bytes each
	ringDue   = 64  // used slots from which on what they hold is moved to bbolt's pages
	ringSpare = 8   // slots that records leave to cursors: pruning a full store takes a few

	ringHead  = 24 // of an entry: magic, length, position, checksum of the entry before, checksum
	ringMagic = 0x6a72_6e31

	ringBytes = ringSlots * pageSize
)

var (
	bucketJournal = []byte("journal")
	keySlots      = []byte("slots") // in journal: the ring, and what aligns it

	keySpot = []byte("journal") // in meta: from where a start reads the journal
)

// ringValue is the size of the value that holds the ring: with the head of its
// leaf page and its key it takes one page more than the ring, whose slots are
// then the pages behind the first.
const ringValue = ringBytes + pageSize - headerSize - itemSize - len("slots")

// spot is a place in the journal.
type spot struct {
	pos uint64 // slots written before it since the store was made
	sum uint32 // checksum of the entry that ends there
}

func (s spot) bytes() []byte { return binary.BigEndian.AppendUint32(seqKey(s.pos), s.sum) }

func readSpot(b []byte) (spot, error) {
	if len(b) != 12 {
		return spot{}, fmt.Errorf("has %d bytes, not 12", len(b))
	}
	return spot{binary.BigEndian.Uint64(b), binary.BigEndian.Uint32(b[8:])}, nil
}

// spotIn reads the place from which a start reads the journal.
func spotIn(m *bbolt.Bucket) (spot, error) {
	b, err := field(m, keySpot, 0)
	if err != nil {
		return spot{}, err
	}
	s, err := readSpot(b)
	if err != nil {
		return spot{}, unfit(fmt.Sprintf("%s: %v", keySpot, err))
	}
	return s, nil
}

// makeRing makes the bucket with an empty ring.
func makeRing(tx *bbolt.Tx) error {
	b, err := tx.CreateBucket(bucketJournal)
	if err != nil {
		return err
	}
	if err := b.Put(keySlots, make([]byte, ringValue)); err != nil {
		return err
	}
	return tx.Bucket(bucketMeta).Put(keySpot, seal(keySpot, spot{}.bytes()))
}

// ring is the ring of one file.
type ring struct {
	file *os.File
	base int64  // of slot 0 in the file
	salt uint32 // checksum of the store's id, so that no entry of another store fits
	buf  []byte // what is written next, whole slots
}

// ringAt finds the ring of the store with that id, whose bucket begins at the page
// given.
func ringAt(f *os.File, page uint64, id string) (r ring, err error) {
	head := make([]byte, headerSize+itemSize)
	if _, err := f.ReadAt(head, int64(page)*pageSize); err != nil {
		return ring{}, fmt.Errorf("journal: page %d: %w", page, err)
	}
	item := head[headerSize:]
	if native.Uint64(head) != page || native.Uint16(head[8:]) != leafPage || native.Uint16(head[10:]) != 1 ||
		native.Uint32(head[12:]) != ringSlots || native.Uint32(item[8:]) != uint32(len(keySlots)) || int(native.Uint32(item[12:])) != ringValue {
		return ring{}, unfit(fmt.Sprintf("journal: page %d does not hold it", page))
	}
	return ring{file: f, base: int64(page+1) * pageSize, salt: salt(id)}, nil
}

func salt(id string) uint32 { return crc32.Checksum([]byte(id), castagnoli) }

// slots is how many slots a payload takes.
func slots(payload int) uint64 { return uint64((ringHead + payload + pageSize - 1) / pageSize) }

// entryBytes are the bytes of an entry at a place, and the place behind it. Room
// for the head is at the beginning of b, the payload behind it.
func (r ring) entryBytes(at spot, b []byte) spot {
	payload := len(b) - ringHead
	binary.BigEndian.PutUint32(b, ringMagic)
	binary.BigEndian.PutUint32(b[4:], uint32(payload))
	binary.BigEndian.PutUint64(b[8:], at.pos)
	binary.BigEndian.PutUint32(b[16:], at.sum)
	sum := r.sum(b)
	binary.BigEndian.PutUint32(b[20:], sum)
	return spot{at.pos + slots(payload), sum}
}

// sum is the checksum of an entry without the place of the checksum.
func (r ring) sum(b []byte) uint32 {
	return crc32.Update(crc32.Update(r.salt, castagnoli, b[:ringHead-4]), castagnoli, b[ringHead:])
}

// write writes an entry at a place and waits until it is on disk. The room must be
// free. When it fails, the same place can be written again.
func (r *ring) write(at spot, b []byte) (spot, error) {
	next := r.entryBytes(at, b)
	offset := int64(at.pos%ringSlots) * pageSize
	// Whole slots: the card writes no less, and nothing old stays behind the entry.
	whole := slices.Grow(r.buf[:0], int(next.pos-at.pos)*pageSize)[:int(next.pos-at.pos)*pageSize]
	clear(whole[copy(whole, b):])
	if r.buf = whole; len(whole) > ringDue*pageSize/4 {
		r.buf = nil // a large one is not kept
	}
	first := min(int64(len(whole)), ringBytes-offset)
	if _, err := r.file.WriteAt(whole[:first], r.base+offset); err != nil {
		return at, err
	}
	if _, err := r.file.WriteAt(whole[first:], r.base); err != nil {
		return at, err
	}
	return next, syncData(r.file)
}

// wipe makes the slots between two places empty, and waits until that is on disk.
func (r *ring) wipe(from, to uint64) error {
	empty := make([]byte, pageSize)
	for pos := from; pos < to; pos++ {
		if _, err := r.file.WriteAt(empty, r.base+int64(pos%ringSlots)*pageSize); err != nil {
			return err
		}
	}
	return syncData(r.file)
}

// all reads the whole ring.
func (r ring) all() ([]byte, error) {
	b := make([]byte, ringBytes)
	_, err := r.file.ReadAt(b, r.base)
	return b, err
}

// head reads the head of an entry that may begin in a slot of the ring b, and its
// payload; false when none does, or not whole. sum is the entry's own checksum.
func (r ring) head(b []byte, slot uint64) (pos uint64, before, sum uint32, payload []byte, ok bool) {
	h := b[slot*pageSize:]
	size := uint64(binary.BigEndian.Uint32(h[4:]))
	if binary.BigEndian.Uint32(h) != ringMagic || size > ringBytes-ringHead {
		return 0, 0, 0, nil, false
	}
	pos = binary.BigEndian.Uint64(h[8:])
	whole := h[:min(uint64(len(h)), ringHead+size)]
	if rest := ringHead + size - uint64(len(whole)); rest > 0 { // it goes on at the beginning of the ring
		whole = append(append(make([]byte, 0, ringHead+size), whole...), b[:rest]...)
	}
	sum = binary.BigEndian.Uint32(h[20:])
	if pos%ringSlots != slot || r.sum(whole) != sum {
		return 0, 0, 0, nil, false
	}
	return pos, binary.BigEndian.Uint32(h[16:]), sum, whole[ringHead:], true
}

// entries calls fn with the payload of each entry from a place on, in order, and
// returns the place behind the last. An entry that lies beyond it was acknowledged
// after one that cannot be read any more: lost is the error that says so.
func (r ring) entries(b []byte, from spot, fn func(payload []byte) error) (end spot, lost error, err error) {
	end = from
	for end.pos-from.pos < ringSlots {
		pos, before, sum, payload, ok := r.head(b, end.pos%ringSlots)
		if !ok || pos != end.pos || before != end.sum {
			break
		}
		if end.pos-from.pos+slots(len(payload)) > ringSlots {
			break
		}
		if err := fn(payload); err != nil {
			return end, nil, err
		}
		end = spot{pos + slots(len(payload)), sum}
	}
	for slot := range uint64(ringSlots) {
		if pos, _, _, _, ok := r.head(b, slot); ok && pos >= end.pos {
			return end, fmt.Errorf("journal: the entry at %d cannot be read, one behind it can (at %d): what was kept in between is lost", end.pos, pos), nil
		}
	}
	return end, nil, nil
}
