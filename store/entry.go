package store

import (
	"encoding/binary"
	"errors"
	"maps"
	"slices"
)

// entry is what one commit keeps in the journal. Its payload is
//
//	what it holds (1 byte) | sent cursor | session | then each of these that it holds:
//	requests | marks | note | the run that begins with its first record | records
//
// with numbers as varints and bytes behind their length. Values of records are
// sealed, as they will stand in bbolt's pages.
type entry struct {
	now    cursors // requests and marks count only where they changed
	asks   bool    // requests changed
	marked bool    // marks changed
	note   []byte  // nil: unchanged; empty: deleted
	run    string  // "": the records belong to the run of those before
	first  uint64  // seq of the first record
	values [][]byte
}

const (
	holdsRequests = 1 << iota
	holdsMarks
	holdsNote
	holdsRun
	holdsRecords
)

// append writes the payload.
func (e *entry) append(b []byte) []byte {
	var holds byte
	add := func(held bool, bit byte) {
		if held {
			holds |= bit
		}
	}
	add(e.asks, holdsRequests)
	add(e.marked, holdsMarks)
	add(e.note != nil, holdsNote)
	add(e.run != "", holdsRun)
	add(len(e.values) > 0, holdsRecords)
	b = binary.AppendUvarint(append(b, holds), e.now.sent)
	b = binary.AppendUvarint(b, e.now.session)
	if e.asks {
		b = appendBytes(b, appendRequests(nil, e.now.requests))
	}
	if e.marked {
		b = binary.AppendUvarint(b, uint64(len(e.now.marks)))
		for _, name := range slices.Sorted(maps.Keys(e.now.marks)) {
			m := e.now.marks[name]
			b = binary.AppendUvarint(appendBytes(b, []byte(name)), m.seq)
			b = appendBytes(b, m.note)
		}
	}
	if e.note != nil {
		b = appendBytes(b, e.note)
	}
	if e.run != "" {
		b = appendBytes(b, []byte(e.run))
	}
	if len(e.values) > 0 {
		b = binary.AppendUvarint(b, e.first)
		b = binary.AppendUvarint(b, uint64(len(e.values)))
		for _, v := range e.values {
			b = appendBytes(b, v)
		}
	}
	return b
}

func appendBytes(b, more []byte) []byte {
	return append(binary.AppendUvarint(b, uint64(len(more))), more...)
}

// errEntry is what is wrong with an entry whose checksum is right and whose
// payload makes no sense: a newer benchtally wrote it, or this one has a fault.
var errEntry = errors.New("journal: an entry is whole and cannot be understood")

// parse reads a payload. What is read points into it.
func (e *entry) parse(b []byte) error {
	r := cutter{b: b}
	holds := r.byte()
	e.now.sent, e.now.session = r.number(), r.number()
	if e.asks = holds&holdsRequests != 0; e.asks {
		var err error
		if e.now.requests, err = readRequests(r.bytes()); err != nil {
			return err
		}
	}
	if e.marked = holds&holdsMarks != 0; e.marked {
		e.now.marks = map[string]mark{}
		for range r.count() {
			name := string(r.bytes())
			e.now.marks[name] = mark{r.number(), r.bytes()}
		}
	}
	if holds&holdsNote != 0 {
		e.note = r.bytes()
	}
	if holds&holdsRun != 0 {
		e.run = string(r.bytes())
	}
	if holds&holdsRecords != 0 {
		e.first = r.number()
		for range r.count() {
			e.values = append(e.values, r.bytes())
		}
	}
	if r.bad || len(r.b) > 0 || holds >= holdsRecords<<1 {
		return errEntry
	}
	return nil
}

// cutter cuts values off the beginning of bytes.
type cutter struct {
	b   []byte
	bad bool // more was wanted than there was
}

func (r *cutter) byte() byte {
	if len(r.b) == 0 {
		r.bad = true
		return 0
	}
	c := r.b[0]
	r.b = r.b[1:]
	return c
}

func (r *cutter) number() uint64 {
	n, size := binary.Uvarint(r.b)
	if size <= 0 {
		r.b, r.bad = nil, true
		return 0
	}
	r.b = r.b[size:]
	return n
}

// count is a number of values that follow, of at least a byte each.
func (r *cutter) count() uint64 {
	n := r.number()
	if n > uint64(len(r.b)) {
		r.b, r.bad = nil, true
		return 0
	}
	return n
}

func (r *cutter) bytes() []byte {
	n := r.count()
	c := r.b[:n:n]
	r.b = r.b[n:]
	return c
}
