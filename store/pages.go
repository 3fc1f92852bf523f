package store

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"io"
	"os"
)

// This file reads a bbolt file as plain bytes, without mapping it and without
// trusting a number in it. It finds out before bbolt does whether following the
// file's own page numbers would lead out of the file. Layout: bbolt v1.5,
// internal/common; numbers are in the byte order of the machine that wrote.

const (
	pageSize   = 4096
	headerSize = 16 // id uint64, flags uint16, count uint16, overflow uint32
	itemSize   = 16 // of a branch or a leaf page, before keys and values

	branchPage = 0x01
	leafPage   = 0x02
	freePage   = 0x10
	bucketItem = 0x01

	metaMagic   = 0xED0CDAED
	metaVersion = 2
	metaSize    = 64

	maxRun = 32 << 20 / pageSize // pages in one piece; far more than any value kept here
)

var native = binary.NativeEndian

// meta is a root page: where everything else is.
type meta struct {
	pageSize              uint32
	root, freelist, pages uint64 // pages: how many belong to the file
	txid                  uint64
}

// readMeta reads a root page from its bytes.
func readMeta(b []byte) (meta, error) {
	b = b[headerSize : headerSize+metaSize]
	if native.Uint32(b) != metaMagic || native.Uint32(b[4:]) != metaVersion {
		return meta{}, fmt.Errorf("no mark of a database")
	}
	sum := fnv.New64a()
	_, _ = sum.Write(b[:metaSize-8]) // a hash never fails
	if sum.Sum64() != native.Uint64(b[metaSize-8:]) {
		return meta{}, errChecksum
	}
	return meta{
		pageSize: native.Uint32(b[8:]),
		root:     native.Uint64(b[16:]),
		freelist: native.Uint64(b[32:]),
		pages:    native.Uint64(b[40:]),
		txid:     native.Uint64(b[48:]),
	}, nil
}

// readMetas chooses the newer of the two root pages that can be read, as bbolt
// does, and names what is wrong with the other. The error says why there is none.
func readMetas(f io.ReaderAt, size int64) (m meta, faults []string, err error) {
	switch {
	case size == 0:
		return m, nil, fmt.Errorf("the file is empty")
	case size < 4*pageSize:
		return m, nil, fmt.Errorf("the file has only %d bytes and is no store, or the beginning of one", size)
	}
	found := false
	for id := range int64(2) {
		b := make([]byte, headerSize+metaSize)
		if _, err := f.ReadAt(b, id*pageSize); err != nil {
			return m, nil, fmt.Errorf("root page %d: %w", id, err)
		}
		got, err := readMeta(b)
		switch {
		case err != nil:
			faults = append(faults, fmt.Sprintf("root page %d: %v; the last commit may be gone", id, err))
		case !found || got.txid > m.txid:
			m, found = got, true
		}
	}
	switch {
	case !found:
		return m, faults, fmt.Errorf("neither root page can be read: it is no store, or its beginning was overwritten")
	case m.pageSize != pageSize:
		return m, faults, fmt.Errorf("it is a database of another program, with pages of %d bytes", m.pageSize)
	case m.pages > uint64(size)/pageSize:
		return m, faults, fmt.Errorf("the file is cut short: it has %d bytes, %d belong to it", size, m.pages*pageSize)
	}
	return m, faults, nil
}

// inspect looks at the file before bbolt maps it: with pages missing, or a list
// of free pages that names others, bbolt would read outside the file or write
// over what is kept.
func inspect(f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	m, _, err := readMetas(f, info.Size())
	if err != nil {
		return unfit(err.Error())
	}
	var wrong []string
	w := walker{f: f, meta: m, seen: map[uint64]bool{}, damage: func(format string, args ...any) {
		wrong = append(wrong, fmt.Sprintf(format, args...))
	}}
	w.free()
	if len(wrong) > 0 {
		return unfit(wrong[0])
	}
	return nil
}

// walker goes through the pages of a file.
type walker struct {
	f      io.ReaderAt
	meta   meta
	seen   map[uint64]bool
	damage func(format string, args ...any)
	visit  func(path string, key, value []byte) // each key of each bucket, path "records" or "rest/runs"
	roots  map[string]uint64                    // page of each bucket that has pages of its own; nil: nobody asks
}

// page reads the page with its overflow pages. It reports false when that is
// impossible or when the page was seen before, after telling damage so.
func (w *walker) page(id uint64, what string) (b []byte, flags uint16, count int, ok bool) {
	fault := func(format string, args ...any) {
		w.damage("page %d (%s): %s", id, what, fmt.Sprintf(format, args...))
	}
	if id < 2 || id >= w.meta.pages {
		fault("lies outside the file's pages 2 to %d", w.meta.pages-1)
		return nil, 0, 0, false
	}
	head := make([]byte, headerSize)
	if _, err := w.f.ReadAt(head, int64(id)*pageSize); err != nil {
		fault("%v", err)
		return nil, 0, 0, false
	}
	flags, count = native.Uint16(head[8:]), int(native.Uint16(head[10:]))
	overflow := uint64(native.Uint32(head[12:]))
	if got := native.Uint64(head); got != id {
		fault("says it is page %d", got)
		return nil, 0, 0, false
	}
	if overflow >= maxRun || id+overflow >= w.meta.pages {
		fault("says it goes on for %d pages", overflow)
		return nil, 0, 0, false
	}
	for i := id; i <= id+overflow; i++ {
		if w.seen[i] {
			fault("is used twice")
			return nil, 0, 0, false
		}
		w.seen[i] = true
	}
	b = make([]byte, (overflow+1)*pageSize)
	if _, err := w.f.ReadAt(b, int64(id)*pageSize); err != nil {
		fault("%v", err)
		return nil, 0, 0, false
	}
	return b, flags, count, true
}

// free reads the list of free pages, which must be ascending and within the file.
func (w *walker) free() {
	b, flags, count, ok := w.page(w.meta.freelist, "free pages")
	if !ok {
		return
	}
	fault := func(what string) { w.damage("page %d (free pages): %s", w.meta.freelist, what) }
	if flags != freePage {
		fault("is no list of free pages")
		return
	}
	ids := b[headerSize:]
	if count == 0xFFFF { // more than fit in the header: the number comes first
		if n := native.Uint64(ids); n <= uint64(len(ids)/8-1) {
			count = int(n)
		}
		ids = ids[8:]
	}
	if count*8 > len(ids) {
		fault("says it holds more than there is room for")
		return
	}
	last := uint64(1)
	for i := range count {
		id := native.Uint64(ids[i*8:])
		if id <= last || id >= w.meta.pages {
			fault(fmt.Sprintf("names page %d after page %d", id, last))
			return
		}
		last = id
	}
}

// tree goes through the pages below page id, which hold the bucket at path.
func (w *walker) tree(path string, id uint64) {
	what := path
	if what == "" {
		what = "buckets"
	}
	b, flags, count, ok := w.page(id, what)
	if !ok {
		return
	}
	where := fmt.Sprintf("page %d (%s)", id, what)
	switch flags {
	case leafPage:
		w.leaf(path, where, b, count)
	case branchPage:
		if headerSize+count*itemSize > len(b) {
			w.damage("%s: says it has %d branches", where, count)
			return
		}
		for i := range count {
			item := b[headerSize+i*itemSize:]
			pos, keyLen := uint64(native.Uint32(item)), uint64(native.Uint32(item[4:]))
			if pos+keyLen > uint64(len(item)) {
				w.damage("%s: branch %d lies outside the page", where, i)
				continue
			}
			w.tree(path, native.Uint64(item[8:]))
		}
	default:
		w.damage("%s: is neither a branch nor a leaf", where)
	}
}

// leaf goes through the keys of one leaf page, or of a bucket kept inside one.
func (w *walker) leaf(path, where string, b []byte, count int) {
	if headerSize+count*itemSize > len(b) {
		w.damage("%s: says it has %d keys", where, count)
		return
	}
	for i := range count {
		item := b[headerSize+i*itemSize:]
		pos := uint64(native.Uint32(item[4:]))
		keyEnd := pos + uint64(native.Uint32(item[8:]))
		end := keyEnd + uint64(native.Uint32(item[12:]))
		if end > uint64(len(item)) {
			w.damage("%s: key %d lies outside the page", where, i)
			continue
		}
		key, value := item[pos:keyEnd], item[keyEnd:end]
		if native.Uint32(item)&bucketItem == 0 {
			w.visit(path, key, value)
			continue
		}
		name := string(key)
		if path != "" {
			name = path + "/" + name
		}
		w.bucket(name, where, value)
	}
}

// bucket goes through a bucket given its entry: root page and sequence, then,
// when the root is 0, the bucket's only page.
func (w *walker) bucket(name, where string, entry []byte) {
	switch {
	case len(entry) < 16:
		w.damage("%s: bucket %q has no root", where, name)
	case native.Uint64(entry) != 0:
		if w.roots != nil {
			w.roots[name] = native.Uint64(entry)
		}
		w.tree(name, native.Uint64(entry))
	case len(entry) < 16+headerSize || native.Uint16(entry[16+8:]) != leafPage:
		w.damage("%s: bucket %q cannot be read", where, name)
	default:
		w.leaf(name, where, entry[16:], int(native.Uint16(entry[16+10:])))
	}
}
