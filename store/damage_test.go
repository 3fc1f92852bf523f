package store

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"benchtally/agent/record"
)

// sound is the bytes of a store with a bit of everything, and how its pages lie.
func sound(t *testing.T) []byte {
	t.Helper()
	path := filepath.Join(dir(t), "sound.db")
	s := open(t, path, Options{})
	fill(t, s, 700, 50)
	if err := s.Append(Batch{State: bytes.Repeat([]byte("state"), 500), Orders: map[string][]byte{"A-1001": []byte("order")}, Note: []byte("note")}); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.Sent(300), s.Resend(5, 9)); err != nil {
		t.Fatal(err)
	}
	fill(t, s, 103, 1)
	if err := s.Sent(500); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Prune(epoch, 100); n != 0 || err != nil {
		t.Fatal(n, err)
	}
	s = reopen(t, s)
	fill(t, s, 5, 1)
	closed(t, s)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// newest is the root page in force, and its page number.
func newest(t *testing.T, b []byte) (meta, int) {
	t.Helper()
	m0, err0 := readMeta(b)
	m1, err1 := readMeta(b[pageSize:])
	if err := errors.Join(err0, err1); err != nil {
		t.Fatal(err)
	}
	if m1.txid > m0.txid {
		return m1, 1
	}
	return m0, 0
}

// leafOf is the page that holds the value of a record in the bucket of records.
func leafOf(t *testing.T, b []byte, seq uint64) int {
	t.Helper()
	r := shiftRecord(seq)
	value := finish(seqKey(seq), pack(begin(nil), &r))
	m, _ := newest(t, b)
	found := 0
	w := walker{f: bytes.NewReader(b), meta: m, seen: map[uint64]bool{}, damage: t.Errorf, visit: func(string, []byte, []byte) {}}
	w.tree("", m.root)
	for at := 0; ; at++ {
		i := bytes.Index(b[at:], value)
		if i < 0 {
			break
		}
		if at += i; w.seen[uint64(at/pageSize)] { // not a copy left on a free page
			found = at / pageSize
		}
	}
	if found == 0 {
		t.Fatalf("record %d is on no page", seq)
	}
	return found
}

func TestDamageIsNamed(t *testing.T) {
	whole := sound(t)
	m, page := newest(t, whole)
	zero := func(b []byte, page int) []byte { clear(b[page*pageSize:][:pageSize]); return b }
	leaf := leafOf(t, whole, 200)
	for _, row := range []struct {
		name   string
		make   func(b []byte) []byte
		opens  bool   // then reading tells
		want   string // in the error of opening or reading
		verify string // in the report
	}{
		{"both root pages zeroed", func(b []byte) []byte { return zero(zero(b, 0), 1) }, false, "neither root page can be read", "neither root page can be read"},
		{"the newer root page zeroed", func(b []byte) []byte { return zero(b, page) }, true, "", fmt.Sprintf("root page %d: no mark of a database; the last commit may be gone", page)},
		{"the older root page zeroed", func(b []byte) []byte { return zero(b, 1-page) }, true, "", fmt.Sprintf("root page %d: no mark", 1-page)},
		{"a bit of a root page flipped", func(b []byte) []byte { b[page*pageSize+headerSize+50] ^= 4; return b }, true, "", "checksum does not match"},
		{"the free pages zeroed", func(b []byte) []byte { return zero(b, int(m.freelist)) }, false, "free pages", "(free pages)"},
		{"a free page that is in use", func(b []byte) []byte {
			copy(b[int(m.freelist)*pageSize+headerSize:], native.AppendUint64(nil, m.root))
			return b
		}, false, "", "free"},
		{"the page of the buckets zeroed", func(b []byte) []byte { return zero(b, int(m.root)) }, false, "is damaged", "(buckets)"},
		{"a leaf of the records zeroed", func(b []byte) []byte { return zero(b, leaf) }, true, "is damaged", fmt.Sprintf("page %d (records): says it is page 0", leaf)},
		{"a byte in a record flipped", func(b []byte) []byte {
			r := shiftRecord(200)
			packed := pack(nil, &r)
			b[leaf*pageSize+bytes.Index(b[leaf*pageSize:], packed)+len(packed)/2] ^= 1
			return b
		}, true, "record 200 is damaged: checksum does not match", "record 200: checksum does not match"},
		{"cut in half", func(b []byte) []byte { return b[:m.pages/2*pageSize] }, false, "the file is cut short", "the file is cut short"},
		{"cut by a byte", func(b []byte) []byte { return b[:m.pages*pageSize-1] }, false, "the file is cut short", "the file is cut short"},
		{"100 bytes", func(b []byte) []byte { return b[:100] }, false, "the file has only 100 bytes", "only 100 bytes"},
		{"no bytes", func([]byte) []byte { return nil }, false, "the file is empty", "the file is empty"},
		{"a text", func([]byte) []byte { return bytes.Repeat([]byte("spec,cage,diameter\n"), 5000) }, false, "it is no store", "it is no store"},
	} {
		t.Run(row.name, func(t *testing.T) {
			path := filepath.Join(dir(t), "benchtally.db")
			b := row.make(bytes.Clone(whole))
			if err := os.WriteFile(path, b, 0o640); err != nil {
				t.Fatal(err)
			}
			report, err := Verify(path)
			if err != nil || !strings.Contains(strings.Join(report.Damage, "\n"), row.verify) || len(report.Damage) == 0 {
				t.Errorf("verify: %v, want %q in:\n%s", err, row.verify, strings.Join(report.Damage, "\n"))
			}
			s, err := Open(path, Options{})
			if opened := err == nil; opened != row.opens && row.want != "" {
				t.Fatalf("opened %t, want %t: %v", opened, row.opens, err)
			}
			if err == nil {
				_, err = drain(s)
				closed(t, s)
			}
			if row.want != "" && (!errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), row.want)) {
				t.Errorf("got %v\nwant ErrCorrupt with %q", err, row.want)
			}
			if !row.opens && row.want != "" && (!strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "benchtally verify")) {
				t.Errorf("neither file nor remedy in: %v", err)
			}
			if now, err := os.ReadFile(path); err != nil || !row.opens && !bytes.Equal(now, b) {
				t.Errorf("the file was changed (%v)", err)
			}
		})
	}
}

// drain reads all there is, in every way.
func drain(s *Store) (records []record.Record, err error) {
	for r, e := range s.Records(0) {
		if err = errors.Join(err, e); e == nil {
			records = append(records, r)
		}
	}
	_, err1 := s.Unsent(0, 1000)
	_, err2 := s.Resends(1000)
	_, _, err3 := s.State()
	_, err4 := s.Order("A-1001")
	_, err5 := s.Note()
	_, _, err6 := s.Queue()
	return records, errors.Join(err, err1, err2, err3, err4, err5, err6)
}

// Whatever is written over whichever page: nothing crashes, nothing hangs, no
// record comes out other than it went in, and where something is missing, Verify
// says so.
func TestAnyPageDamaged(t *testing.T) {
	whole := sound(t)
	mustNameAnyDamage(t, whole, 808, 0)

	// The same, with 20 records in the journal.
	s := open(t, written(t, whole), Options{})
	fill(t, s, 20, 1)
	whole, err := os.ReadFile(s.path)
	if err != nil {
		t.Fatal(err)
	}
	mustNameAnyDamage(t, whole, 828, int(s.next.pos-s.settled.pos))
}

// mustNameAnyDamage damages the pages of a file one by one; used are the slots of
// the journal that wait.
func mustNameAnyDamage(t *testing.T, whole []byte, count, used int) {
	t.Helper()
	m, page := newest(t, whole)
	random := rand.New(rand.NewPCG(1, 2))
	d := dir(t)
	w := walker{f: bytes.NewReader(whole), meta: m, seen: map[uint64]bool{}, damage: t.Errorf, visit: func(string, []byte, []byte) {}, roots: map[string]uint64{}}
	w.tree("", m.root)
	ring := int(w.roots[string(bucketJournal)]) + 1
	first := int(spotOf(t, whole).pos % ringSlots)
	for p := range int(m.pages) {
		slot := (p - ring - first + ringSlots) % ringSlots
		inRing := p >= ring && p < ring+ringSlots
		if inRing && slot > used+2 && slot < ringSlots-2 {
			continue // one unused slot is like another
		}
		for _, with := range []string{"zeros", "ones", "noise", "its neighbour", "a bad header", "one flipped byte"} {
			name := fmt.Sprintf("page %d overwritten with %s", p, with)
			b := bytes.Clone(whole)
			at := b[p*pageSize:][:pageSize]
			switch with {
			case "zeros":
				clear(at)
			case "ones":
				copy(at, bytes.Repeat([]byte{0xff}, pageSize))
			case "noise":
				for i := range at {
					at[i] = byte(random.Uint32())
				}
			case "its neighbour":
				copy(at, whole[(p+1)*pageSize:])
			case "a bad header":
				for i := 10; i < 64; i++ {
					at[i] = byte(random.Uint32())
				}
			case "one flipped byte":
				at[random.IntN(pageSize)] ^= byte(1 + random.IntN(255))
			}
			path := filepath.Join(d, "benchtally.db")
			if err := os.WriteFile(path, b, 0o640); err != nil {
				t.Fatal(err)
			}
			report, err := Verify(path)
			if err != nil && !errors.Is(err, ErrNewer) {
				t.Fatalf("%s: verify: %v", name, err)
			}
			s, err := Open(path, Options{})
			if err == nil {
				var records []record.Record
				records, err = drain(s)
				for _, r := range records {
					want := shiftRecord(r.Seq)
					if string(r.AppendJSON(nil)) != string(want.AppendJSON(nil)) {
						t.Fatalf("%s: record %d is %s", name, r.Seq, r.AppendJSON(nil))
					}
				}
				last := inRing && slot == used-1 // one that was never finished looks the same
				if err == nil && p != page && len(records) != count && (!last || len(records) != count-1) {
					t.Errorf("%s: %d records and no error", name, len(records))
				}
				// Writing may fail; it must not crash or hang.
				appended := s.Append(Batch{Records: shift(s.Last(), 60), State: []byte("new")})
				_, pruned := s.Prune(shiftRecord(1000).At, 100)
				_, session := s.NextSession()
				cerr := s.Close()
				if err := errors.Join(appended, pruned, session, cerr); err != nil && !errors.Is(err, ErrCorrupt) {
					t.Errorf("%s: %v", name, err)
				}
			}
			if err != nil && len(report.Damage) == 0 {
				t.Errorf("%s: %v; but verify found nothing", name, err)
			}
			if err != nil && !errors.Is(err, ErrCorrupt) && !errors.Is(err, ErrNewer) {
				t.Errorf("%s: %v; want ErrCorrupt", name, err)
			}
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// spotOf is the place from which a start reads the journal of a file.
func spotOf(t *testing.T, b []byte) (found spot) {
	t.Helper()
	s := open(t, written(t, b), Options{ReadOnly: true})
	found = s.settled
	closed(t, s)
	return found
}
