package store

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// Every step is followed by a reopening: what was acknowledged is on disk.
func TestEverythingSurvivesReopening(t *testing.T) {
	s := open(t, place(t), Options{})
	id, run := s.ID(), s.Run()
	if len(id) != 16 || len(run) != 16 || s.Last() != 0 {
		t.Fatalf("new store: id %q, run %q, last %d", id, run, s.Last())
	}
	if state, seq, err := s.State(); state != nil || seq != 0 || err != nil {
		t.Fatalf("new store: state %q up to %d, %v", state, seq, err)
	}

	fill(t, s, 3, 1)
	s = reopen(t, s)
	if s.ID() != id || s.Run() == run {
		t.Errorf("id %q, want %q again; run %q, want another than %q", s.ID(), id, s.Run(), run)
	}
	mustHold(t, s, 1, 3)

	state, note := []byte("folded up to 500"), []byte("tape 17")
	orders := map[string][]byte{"A-1001": []byte("six pieces"), "A-1002": {}}
	if err := s.Append(Batch{Records: shift(3, 497), State: state, Orders: orders, Note: note}); err != nil {
		t.Fatal(err)
	}
	s = reopen(t, s)
	fill(t, s, 1, 1)
	s = reopen(t, s)
	mustHold(t, s, 1, 501)
	if got, seq, err := s.State(); string(got) != string(state) || seq != 500 || err != nil {
		t.Errorf("state %q up to %d, %v", got, seq, err)
	}
	for id, want := range orders {
		if got, err := s.Order(id); got == nil || string(got) != string(want) || err != nil {
			t.Errorf("order %s: %q, %v", id, got, err)
		}
	}
	for _, id := range []string{"A-1003", ""} {
		if got, err := s.Order(id); got != nil || err != nil {
			t.Errorf("unknown order %q: %q, %v", id, got, err)
		}
	}
	if got, err := s.Note(); string(got) != string(note) || err != nil {
		t.Errorf("note %q, %v", got, err)
	}

	if err := s.Append(Batch{Note: []byte{}}); err != nil {
		t.Fatal(err)
	}
	s = reopen(t, s)
	if got, err := s.Note(); got != nil || err != nil {
		t.Errorf("deleted note: %q, %v", got, err)
	}
	for want := uint64(1); want <= 3; want++ {
		if got, err := s.NextSession(); got != want || err != nil {
			t.Errorf("session %d, %v; want %d", got, err, want)
		}
		s = reopen(t, s)
	}
}

func TestAppendRefuses(t *testing.T) {
	late := shift(0, 1)
	late[0].At = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC)
	long := shift(0, 2)
	long[1].Raw = strings.Repeat("x", maxRecord)
	for _, row := range []struct {
		name  string
		batch Batch
		want  string
	}{
		{"a seq of 0", Batch{Records: []record.Record{{Kind: record.Dry}}}, "record 0 cannot be kept: the next one is 1"},
		{"a seq left out", Batch{Records: shift(1, 1)}, "record 2 cannot be kept: the next one is 1"},
		{"a seq left out inside", Batch{Records: append(shift(0, 1), shift(2, 1)...)}, "record 3 cannot be kept: the next one is 2"},
		{"a seq twice", Batch{Records: append(shift(0, 1), shift(0, 1)...)}, "record 1 cannot be kept: the next one is 2"},
		{"a year of five digits", Batch{Records: late}, "the year 12026 has no place in a record"},
		{"a record of 64 KiB after a good one", Batch{Records: long}, "at most 65536 are kept"},
		{"orders without state", Batch{Orders: map[string][]byte{"A-1": nil}}, "orders cannot be kept without the state they left"},
		{"an order without id", Batch{State: []byte{1}, Orders: map[string][]byte{"": nil}}, `order "" cannot be kept`},
		{"a state of 17 MiB", Batch{State: make([]byte, 17<<20)}, "at most 16777216 are taken"},
		{"a note of 2 MiB", Batch{Note: make([]byte, 2<<20)}, "at most 1048576 are taken"},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := open(t, place(t), Options{})
			if err := s.Append(row.batch); err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("got %v, want an error with %q", err, row.want)
			}
			s = reopen(t, s)
			if s.Last() != 0 {
				t.Errorf("last %d, want nothing kept", s.Last())
			}
			fill(t, s, 2, 1) // and it goes on
			mustHold(t, s, 1, 2)
		})
	}
}

func TestRecordsFromAnywhere(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 603, 7)
	for _, after := range []uint64{0, 1, 255, 256, 257, 511, 590, 602} {
		next := after + 1
		for r, err := range s.Records(after) {
			if err != nil || r.Seq != next {
				t.Fatalf("after %d: got %d, %v; want %d", after, r.Seq, err, next)
			}
			if want := shiftRecord(next); !reflect.DeepEqual(r, stamped(want)) {
				t.Fatalf("record %d\n got %+v\nwant %+v", next, r, want)
			}
			next++
		}
		if next != 604 {
			t.Errorf("after %d: ended before %d", after, next)
		}
	}
	for _, after := range []uint64{603, 604, 1<<64 - 1} {
		for r, err := range s.Records(after) {
			t.Errorf("after %d: %d, %v", after, r.Seq, err)
		}
	}
	// The body may write and may leave early.
	n := 0
	for _, err := range s.Records(0) {
		if err != nil {
			t.Fatal(err)
		}
		fill(t, s, 1, 1)
		if n++; n == 3 {
			break
		}
	}
	if s.Last() != 606 {
		t.Errorf("last %d, want 606", s.Last())
	}
}

func stamped(r record.Record) record.Record {
	r.At = record.Stamp(r.At)
	return r
}

func TestOpenRefuses(t *testing.T) {
	d := dir(t)
	if err := os.WriteFile(filepath.Join(d, "file"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name, path string
		o          Options
		want       string
	}{
		{"folder missing", filepath.Join(d, "none", "s.db"), Options{}, "there is no folder " + filepath.Join(d, "none")},
		{"a folder", d, Options{}, "is not a file"},
		{"nothing to read", filepath.Join(d, "none.db"), Options{ReadOnly: true}, "no such file"},
		{"an empty file", filepath.Join(d, "file"), Options{}, "is damaged: the file is empty"},
	} {
		t.Run(row.name, func(t *testing.T) {
			s, err := Open(row.path, row.o)
			if err == nil {
				closed(t, s)
				t.Fatal("opened")
			}
			if !strings.Contains(err.Error(), row.want) {
				t.Errorf("got %v\nwant an error with %q", err, row.want)
			}
		})
	}
	names, err := os.ReadDir(d)
	if err != nil || len(names) != 1 {
		t.Errorf("left behind: %v, %v", names, err)
	}
}

func TestOneWriterOrManyReaders(t *testing.T) {
	path := place(t)
	s := open(t, path, Options{})
	fill(t, s, 20, 1)
	for _, o := range []Options{{}, {ReadOnly: true}} {
		o.wait = 50 * time.Millisecond
		if _, err := Open(path, o); !errors.Is(err, ErrLocked) || !strings.Contains(err.Error(), path+" is in use by another benchtally; stop it or ask it") {
			t.Errorf("second opening, read only %t: %v", o.ReadOnly, err)
		}
	}
	if _, err := Verify(path); !errors.Is(err, ErrLocked) {
		t.Errorf("verify: %v", err)
	}
	closed(t, s)

	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	a, b := open(t, path, Options{ReadOnly: true}), open(t, path, Options{ReadOnly: true})
	if a.Run() != "" {
		t.Errorf("run %q of a reader", a.Run())
	}
	mustHold(t, a, 1, 20)
	mustHold(t, b, 1, 20)
	if err := a.Append(Batch{Records: shift(20, 1)}); err == nil || !strings.Contains(err.Error(), "open for reading only") {
		t.Errorf("append to a reader: %v", err)
	}
	closed(t, a)
	closed(t, b)
	after, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("reading changed the file (%v)", err)
	}
}

func TestClosedStoreSaysSo(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 2, 1)
	closed(t, s)
	closed(t, s)
	for name, err := range map[string]error{
		"append": s.Append(Batch{Records: shift(2, 1)}),
		"unsent": second(s.Unsent(0, 1)),
		"note":   second(s.Note()),
	} {
		if err == nil || !strings.Contains(err.Error(), "is closed") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestNewerStoreIsLeftAlone(t *testing.T) {
	path := place(t)
	s := open(t, path, Options{})
	fill(t, s, 2, 1)
	setFormat := func(v byte) {
		t.Helper()
		if err := s.db.Update(func(tx *bbolt.Tx) error {
			return tx.Bucket(bucketMeta).Put(keyFormat, seal(keyFormat, []byte{0, 0, 0, v}))
		}); err != nil {
			t.Fatal(err)
		}
	}
	setFormat(format + 1)
	closed(t, s)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(path, Options{}); !errors.Is(err, ErrNewer) {
		t.Errorf("open: %v", err)
	}
	if _, err := Verify(path); !errors.Is(err, ErrNewer) {
		t.Errorf("verify: %v", err)
	}
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the file changed (%v)", err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}

// A power cut while a store is made leaves a part under another name.
func TestHalfMadeStoreIsNoObstacle(t *testing.T) {
	path := place(t)
	half := path + newSuffix + "123"
	if err := os.WriteFile(half, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := open(t, path, Options{})
	fill(t, s, 1, 1)
	names, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(names) != 1 {
		t.Errorf("left behind: %v, %v", names, err)
	}
}

// A store of format 1, as it was written first, stays readable.
func TestFirstFormat(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("testdata", "format1.db"))
	if err != nil {
		t.Fatal(err)
	}
	path := place(t)
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}
	s := open(t, path, Options{})
	mustHold(t, s, 1, 60)
	state, seq, err := s.State()
	if string(state) != "the state" || seq != 48 || err != nil {
		t.Errorf("state %q up to %d, %v", state, seq, err)
	}
	if o, err := s.Order("A-1001"); string(o) != "the order" || err != nil {
		t.Errorf("order %q, %v", o, err)
	}
	if n, err := s.Note(); string(n) != "the note" || err != nil {
		t.Errorf("note %q, %v", n, err)
	}
	if s.ID() != "30ae4f2b1c9d8e77" || s.SentSeq() != 31 {
		t.Errorf("id %s, sent %d", s.ID(), s.SentSeq())
	}
	events, err := s.Resends(9)
	if err != nil || len(events) != 3 || events[0].ID != "30ae4f2b1c9d8e77-00c0ffee00c0ffee-5" {
		t.Errorf("to send again: %v, %v", events, err)
	}
	if n, err := s.NextSession(); n != 3 || err != nil {
		t.Errorf("session %d, %v", n, err)
	}
}

// A commit of one record writes few pages, however many records there are.
func TestFewPagesInACommit(t *testing.T) {
	s := open(t, place(t), Options{})
	for _, before := range []uint64{0, 10_000, 60_000} {
		fill(t, s, before-s.Last(), 2000)
		was, slots := s.db.Stats(), s.next.pos
		const n = 256
		for range n {
			if err := s.Sent(s.Last()); err != nil {
				t.Fatal(err)
			}
			fill(t, s, 1, 1)
		}
		now := s.db.Stats()
		pages := (float64(now.TxStats.GetPageAlloc()-was.TxStats.GetPageAlloc())/pageSize + float64(s.next.pos-slots)) / n
		if pages > 1.5 {
			t.Errorf("after %d records a commit writes %.2f pages, want at most 1.5", before, pages)
		}
	}
}
