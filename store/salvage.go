package store

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"io"
	"slices"
	"strings"
)

// This file finds what is left in a damaged file. It follows no page number: it
// looks at every page by itself. Each value is sealed with its key, so what is
// found is what was written, wherever it lies; and of what was written several
// times, such as a cursor, the newest is told by its number.

// kind is what a sealed value is, by its shape: the seal says nothing of the
// bucket.
type kind int

const (
	noKind kind = iota
	aRecord
	aRun
	anOrder
	aState
	aMark
	someLost
	aStory
)

// pair is a key with its value.
type pair struct{ key, value []byte }

// shape tells what a value is. The payload is valid only with a kind.
func shape(key, value []byte) (kind, []byte) {
	b, err := unseal(key, value)
	if err != nil {
		return noKind, nil
	}
	if seq, ok := keySeq(key); ok && seq > 0 && seq <= maxSeq {
		if isRun(b) {
			return aRun, b
		}
		if r, err := unpack(seq, b); err == nil && r.Kind != "" {
			return aRecord, b
		}
		return noKind, nil
	}
	numbered := len(b) >= 8 && bytes.HasPrefix(b, []byte{0, 0}) // begins with a seq, which no text does
	switch {
	case string(key) == string(keyState) && numbered:
		return aState, b
	case strings.HasPrefix(string(key), prefixMark) && numbered:
		return aMark, b
	case string(key) == string(keyLost) && numbered:
		return someLost, b
	case strings.HasPrefix(string(key), prefixStory) && len(b) > 0 && b[0] == '{':
		return aStory, b
	case len(key) > 0 && len(key) <= maxOrderID && len(b) > 0 && (b[0] == '{' || b[0] == '['):
		return anOrder, b
	}
	return noKind, nil
}

// isRun says whether b is the name of a run: 16 hexadecimal characters, with
// those of a store before it where it comes from a rescued one.
func isRun(b []byte) bool {
	switch len(b) {
	case 16:
	case 33:
		if b[16] != '-' {
			return false
		}
	default:
		return false
	}
	for i, c := range b {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') && i != 16 {
			return false
		}
	}
	return true
}

// heading is a meta bucket as it was at one time.
type heading struct {
	used                       bool // it is on a page in use
	whole                      bool // every value of it can be read
	id                         string
	first, last, sent, session uint64
	requests                   []request
	note                       []byte
	spot                       spot // from where the journal was read; 0: from its beginning, or not known
}

// newer says whether h was written after o.
func (h heading) newer(o heading) bool {
	if h.used != o.used {
		return h.used
	}
	if h.last != o.last {
		return h.last > o.last
	}
	return h.sent+h.session > o.sent+o.session
}

// headingOf reads a page's items as a meta bucket; false when they are none. One
// value of it may be damaged, its id may not.
func headingOf(items []pair) (h heading, newer, ok bool) {
	good := 0
	for _, i := range items {
		b, err := unseal(i.key, i.value)
		if err != nil {
			continue
		}
		n, isNumber := keySeq(b)
		isNumber = isNumber && n <= maxSeq
		switch key := string(i.key); {
		case key == string(keyFormat) && len(b) == 4:
			newer = binary.BigEndian.Uint32(b) > format
		case key == string(keyID) && len(b) == 16 && isRun(b):
			h.id = string(b)
		case key == string(keyFirst) && isNumber:
			h.first = n
		case key == string(keyLast) && isNumber:
			h.last = n
		case key == string(keySent) && isNumber:
			h.sent = n
		case key == string(keySession) && isNumber:
			h.session = n
		case key == string(keyResend):
			h.requests, err = readRequests(b)
			if err != nil {
				continue
			}
		case key == string(keySpot):
			if at, err := readSpot(b); err == nil {
				h.spot = at
			}
			continue
		case key == string(keyNote):
			h.note = bytes.Clone(b)
			continue
		default:
			continue
		}
		good++
	}
	h.whole = good == 7
	return h, newer, good >= 4
}

// wreck is a damaged file.
type wreck struct {
	f          io.ReaderAt
	pages      int64           // whole pages that the file has
	free       map[uint64]bool // pages that the file does not use any more; nil: not known
	reached    map[uint64]bool // pages that can be reached, where free is not known
	blank      bool            // nothing but zeros was found, or the first bytes of a store
	journal    []int64         // pages that begin as an entry of a journal does
	unreadable map[int64]bool  // pages that the card does not give
	progress   func(done, all int64)
	done       int64 // pages looked at
}

// survey finds out which pages are in use.
func (w *wreck) survey(size int64) {
	w.pages = size / pageSize
	begin := make([]byte, min(size, 4*pageSize))
	if _, err := w.f.ReadAt(begin, 0); err == nil || errors.Is(err, io.EOF) {
		// What lies behind is looked at with the pages.
		w.blank = bytes.Count(begin, []byte{0}) == len(begin) || size < 4*pageSize && len(begin) >= headerSize+4 && native.Uint32(begin[headerSize:]) == metaMagic
	}
	m, _, err := readMetas(w.f, size)
	if err != nil {
		return
	}
	sound := true
	p := walker{f: w.f, meta: m, seen: map[uint64]bool{}, damage: func(string, ...any) { sound = false }, visit: func(string, []byte, []byte) {}}
	if free := p.freed(); sound {
		w.free = free
		return
	}
	p.seen = map[uint64]bool{}
	p.tree("", m.root)
	w.reached = p.seen
}

// used says whether a page holds what is kept now, as far as is known.
func (w *wreck) used(page int64) bool {
	if w.free != nil {
		return !w.free[uint64(page)]
	}
	return w.reached[uint64(page)]
}

// maxOrderID is how long an order's id may be, in bytes.
const maxOrderID = 1024

// freed reads the list of free pages, as free checks it.
func (w *walker) freed() map[uint64]bool {
	w.free()
	b := make([]byte, headerSize+8)
	if _, err := w.f.ReadAt(b, int64(w.meta.freelist)*pageSize); err != nil {
		w.damage("%v", err)
		return nil
	}
	count, skip := uint64(native.Uint16(b[10:])), int64(0)
	if count == 0xFFFF {
		count, skip = native.Uint64(b[headerSize:]), 8
	}
	if count > w.meta.pages {
		return nil
	}
	ids := make([]byte, count*8)
	if _, err := w.f.ReadAt(ids, int64(w.meta.freelist)*pageSize+headerSize+skip); err != nil {
		w.damage("%v", err)
		return nil
	}
	free := make(map[uint64]bool, count)
	for i := range count {
		free[native.Uint64(ids[i*8:])] = true
	}
	return free
}

// readAhead is how many bytes of the file are read at once.
const readAhead = 1 << 20

// window is how many pages of a value are looked at where a page does not say how
// far it goes on.
const window = 16

// each calls fn with the items of each page that could be a leaf, if want says so
// of the page.
func (w *wreck) each(want func(page int64) bool, fn func(page int64, items []pair) error) error {
	buf := make([]byte, readAhead+pageSize*window)
	const step = readAhead / pageSize
	for from := int64(0); from < w.pages; from += step {
		n := min(int64(len(buf)/pageSize), w.pages-from)
		chunk := buf[:n*pageSize]
		bad := w.read(chunk, from)
		w.blank = w.blank && (w.pages < 4 || bytes.Count(chunk, []byte{0}) == len(chunk))
		for i := range min(n, step) {
			if bad[from+i] || !want(from+i) {
				continue
			}
			if binary.BigEndian.Uint32(chunk[i*pageSize:]) == ringMagic {
				if len(w.journal) < maxJournal {
					w.journal = append(w.journal, from+i)
				}
				continue
			}
			var err error
			w.items(from+i, chunk[i*pageSize:], func(items []pair) {
				if err == nil && len(items) > 0 {
					err = fn(from+i, items)
				}
			})
			if err != nil {
				return err
			}
		}
		if w.done += min(n, step); w.progress != nil {
			w.progress(w.done, passes*w.pages)
		}
	}
	return nil
}

// maxJournal bounds how many entries of journals are looked at: those of a ring, and
// of rings that a file had before it was copied. Our own figure, no source.
const maxJournal = 16 * ringSlots

// passes is how often a wreck is read from end to end.
const passes = 3

// read reads pages, one by one where they cannot be read together; those that
// cannot be read are bad, and zero.
func (w *wreck) read(b []byte, page int64) (bad map[int64]bool) {
	if n, err := w.f.ReadAt(b, page*pageSize); err == nil || n == len(b) {
		return nil
	}
	if w.unreadable == nil {
		w.unreadable = map[int64]bool{}
	}
	bad = map[int64]bool{}
	for i := range int64(len(b) / pageSize) {
		at := b[i*pageSize:][:pageSize]
		if n, err := w.f.ReadAt(at, (page+i)*pageSize); err != nil && n < pageSize {
			clear(at)
			bad[page+i], w.unreadable[page+i] = true, true
		}
	}
	return bad
}

// items gives what a leaf page holds, and apart from it what each bucket inside it
// holds. b begins with the page and goes on behind it.
func (w *wreck) items(page int64, b []byte, fn func([]pair)) {
	flags, count, overflow := native.Uint16(b[8:]), int(native.Uint16(b[10:])), int64(native.Uint32(b[12:]))
	good := native.Uint64(b) == uint64(page) && flags == leafPage
	if !good {
		// Where only the head is damaged, the first key lies behind the last item.
		flag, pos := native.Uint32(b[headerSize:]), int(native.Uint32(b[headerSize+4:]))
		if flag > bucketItem || pos == 0 || pos%itemSize != 0 || pos > pageSize-headerSize {
			return
		}
		count, overflow = pos/itemSize, window-1
	}
	overflow = min(overflow, maxRun, w.pages-page-1)
	if size := (overflow + 1) * pageSize; size > int64(len(b)) && good { // longer than was read ahead
		b = make([]byte, size)
		if n, err := w.f.ReadAt(b, page*pageSize); err != nil && int64(n) < size {
			b = b[:n]
		}
	} else if size < int64(len(b)) {
		b = b[:size]
	}
	leafItems(b, count, fn)
}

// leafItems gives the items of a leaf as far as they lie inside b.
func leafItems(b []byte, count int, fn func([]pair)) {
	var items []pair
	for i := 0; i < count && headerSize+(i+1)*itemSize <= len(b); i++ {
		item := b[headerSize+i*itemSize:]
		pos := uint64(native.Uint32(item[4:]))
		keyEnd := pos + uint64(native.Uint32(item[8:]))
		end := keyEnd + uint64(native.Uint32(item[12:]))
		if end > uint64(len(item)) {
			continue
		}
		key, value := item[pos:keyEnd], item[keyEnd:end]
		if native.Uint32(item)&bucketItem == 0 {
			items = append(items, pair{key, value})
			continue
		}
		if len(value) >= 16+headerSize && native.Uint64(value) == 0 { // a bucket kept inside
			leafItems(value[16:], int(native.Uint16(value[16+10:])), fn)
		}
	}
	fn(items)
}

// Why nothing is rescued.
var (
	errNothing = errors.New("it holds nothing that benchtally wrote; name the store's own file")
	errGone    = errors.New("the card does not give most of it; check the card and its contacts, then start benchtally again")
)

// headings finds the meta buckets: of each store that wrote into the file, what is
// in use and what was before. Numbers in them never fall, so old ones help.
func (w *wreck) headings() (all []heading, err error) {
	err = w.each(func(int64) bool { return true }, func(page int64, items []pair) error {
		h, newer, ok := headingOf(items)
		if !ok {
			return nil
		}
		if h.used = w.used(page); h.used && newer {
			return ErrNewer
		}
		for i, old := range all {
			if old.used != h.used || old.id != h.id {
				continue
			}
			if old.newer(h) {
				h, old = old, h
			}
			h.first, h.last = max(h.first, old.first), max(h.last, old.last)
			h.sent, h.session = max(h.sent, old.sent), max(h.session, old.session)
			all[i] = h
			return nil
		}
		all = append(all, h)
		return nil
	})
	return all, err
}

// logged is an entry of the journal.
type logged struct {
	pos     uint64
	payload []byte
}

// entries are those of the journal of the store with that id, in order. Each is
// read by itself, so those behind one that cannot be read are found as well.
func (w *wreck) entries(id string) (all []logged) {
	r := ring{salt: salt(id)}
	for _, page := range w.journal {
		head := make([]byte, ringHead)
		if _, err := w.f.ReadAt(head, page*pageSize); err != nil {
			continue
		}
		size, pos := int64(binary.BigEndian.Uint32(head[4:])), binary.BigEndian.Uint64(head[8:])
		base, slot := page-int64(pos%ringSlots), int64(pos%ringSlots)
		if size > ringBytes-ringHead || base < 2 {
			continue
		}
		whole := make([]byte, ringHead+size)
		first := min(int64(len(whole)), ringBytes-slot*pageSize)
		if _, err := w.f.ReadAt(whole[:first], page*pageSize); err != nil {
			continue
		}
		if _, err := w.f.ReadAt(whole[first:], base*pageSize); err != nil && first < int64(len(whole)) {
			continue
		}
		if r.sum(whole) == binary.BigEndian.Uint32(head[20:]) {
			all = append(all, logged{pos, whole[ringHead:]})
		}
	}
	slices.SortStableFunc(all, func(a, b logged) int { return cmp.Compare(a.pos, b.pos) })
	return all
}
