package store

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// epoch is when the invented shift begins.
var epoch = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func mm(nm int64) *crimp.Length { return record.Ptr(crimp.Length(nm)) }

// shiftRecord is record seq of an endless, invented shift: per crimp a stroke,
// three readings, a verdict and the correction advised, in lengths and texts as
// a bench makes them.
func shiftRecord(seq uint64) record.Record {
	n, step := (seq-1)/6, (seq-1)%6
	order := fmt.Sprintf("A-%d", 1001+n/40)
	piece := fmt.Sprintf("%s/%d", order, n%40+1)
	wobble := int64(n*7919%97) - 48
	r := record.Record{Seq: seq, At: epoch.Add(time.Duration(n)*24*time.Second + time.Duration(step)*2100417*time.Microsecond), Piece: piece}
	size := 30_581_600 + wobble*2_540
	switch step {
	case 0:
		r.Kind, r.Order, r.Cage = record.Stroke, order, "C-21"
		r.Setting, r.Crimp, r.Held = record.Ptr(120), 1, record.Ptr(int64(2300+wobble))
	case 1, 2, 3:
		size += int64(step)*25_400 - 50_800
		r.Kind, r.Place, r.Diameter, r.Raw = record.Reading, int(step), mm(size), fmt.Sprintf("+%d.%04d\r\n", size/25_400_000, size/2_540%10_000)
	case 4:
		r.Kind, r.Outcome, r.Crimp, r.Readings = record.Verdict, crimp.Pass, 1, 3
		r.Mean, r.Deviation, r.Ovality = mm(size), mm(wobble*2_540), mm(50_800)
		r.Conformity, r.U = record.Ptr(0.99731+float64(wobble)/1e5), mm(4_183)
		r.Reason = "the mean is within the limits"
	case 5:
		r.Kind, r.For, r.Setting, r.Change = record.Correction, record.ForNext, record.Ptr(120), record.Ptr(0)
		r.Offset, r.OffsetU = mm(wobble*2_540), mm(11_027)
		r.Reason = "the offset is smaller than what is held"
	}
	return r
}

// shift is n records that follow record after.
func shift(after, n uint64) []record.Record {
	rs := make([]record.Record, n)
	for i := range rs {
		rs[i] = shiftRecord(after + uint64(i) + 1)
	}
	return rs
}

// dir is a folder that goes when the test ends, in memory where there is such a
// place: what these tests check does not depend on the disk, their time does.
func dir(t testing.TB) string {
	t.Helper()
	d, err := os.MkdirTemp("/dev/shm", "benchtally-store-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(d); err != nil {
			t.Error(err)
		}
	})
	return d
}

// place is a path for a store that is checked whole when the test ends.
func place(t testing.TB) string {
	t.Helper()
	path := filepath.Join(dir(t), "benchtally.db")
	t.Cleanup(func() {
		if _, err := os.Stat(path); err != nil || t.Failed() {
			return
		}
		mustBeWhole(t, path)
	})
	return path
}

// mustBeWhole verifies a closed store and lets bbolt check it for writing too.
func mustBeWhole(t testing.TB, path string) Report {
	t.Helper()
	report, err := Verify(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range report.Damage {
		t.Errorf("damage: %s", d)
	}
	db, err := bbolt.Open(path, 0, &bbolt.Options{Timeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}()
	if err := db.View(func(tx *bbolt.Tx) error {
		for err := range tx.Check() {
			t.Error(err)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return report
}

// open opens a store that the test closes, at the latest when it ends.
func open(t testing.TB, path string, o Options) *Store {
	t.Helper()
	s, err := Open(path, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// reopen closes a store and opens it again.
func reopen(t testing.TB, s *Store) *Store {
	t.Helper()
	closed(t, s)
	return open(t, s.path, Options{})
}

func closed(t testing.TB, s *Store) {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// fill appends n records of the shift, size at a time.
func fill(t testing.TB, s *Store, n, size uint64) {
	t.Helper()
	for n > 0 {
		part := min(n, size)
		if err := s.Append(Batch{Records: shift(s.Last(), part)}); err != nil {
			t.Fatal(err)
		}
		n -= part
	}
}

// mustHold checks that the records of s are those of the shift from first to last.
func mustHold(t testing.TB, s *Store, first, last uint64) {
	t.Helper()
	next := first
	for r, err := range s.Records(0) {
		if err != nil {
			t.Fatal(err)
		}
		want := shiftRecord(next)
		if got := string(r.AppendJSON(nil)); got != string(want.AppendJSON(nil)) {
			t.Fatalf("record %d\n got %s\nwant %s", next, got, want.AppendJSON(nil))
		}
		next++
	}
	if next != last+1 {
		t.Fatalf("records end before %d, want the last to be %d", next, last)
	}
}
