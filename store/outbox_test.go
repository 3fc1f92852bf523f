package store

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

func TestUnsentInOrderUpToTheCursor(t *testing.T) {
	s := open(t, place(t), Options{})
	if events, err := s.Unsent(0, 10); len(events) != 0 || err != nil {
		t.Fatalf("empty store: %v, %v", events, err)
	}
	fill(t, s, 150, 4)
	for _, row := range []struct {
		name        string
		sent, after uint64
		most        int
		from, to    uint64 // to 0: none
	}{
		{"nothing sent", 0, 0, 100, 1, 100},
		{"after a seq in flight", 0, 40, 3, 41, 43},
		{"after the cursor", 70, 0, 2, 71, 72},
		{"the cursor is ahead of after", 70, 20, 2, 71, 72},
		{"after is ahead of the cursor", 70, 148, 10, 149, 150},
		{"the last one", 149, 0, 10, 150, 150},
		{"all in flight", 149, 150, 10, 0, 0},
		{"all sent", 150, 0, 10, 0, 0},
		{"beyond the last", 150, 1<<64 - 1, 10, 0, 0},
		{"none wanted", 150, 0, 0, 0, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			if err := s.Sent(row.sent); err != nil {
				t.Fatal(err)
			}
			events, err := s.Unsent(row.after, row.most)
			if err != nil {
				t.Fatal(err)
			}
			next := row.from
			for _, e := range events {
				want := shiftRecord(next)
				if e.Seq != next || string(e.Record) != string(want.AppendJSON(nil)) || e.ID != fmt.Sprintf("%s-%s-%d", s.ID(), s.Run(), next) {
					t.Fatalf("got %d %s %s", e.Seq, e.ID, e.Record)
				}
				next++
			}
			if row.to != 0 && next != row.to+1 || row.to == 0 && len(events) != 0 {
				t.Errorf("%d events, the last before %d", len(events), next)
			}
		})
	}
}

func TestSentCursor(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 200, 10)
	kept := func() uint64 { // what a power cut would leave
		t.Helper()
		report := mustBeWhole(t, cut(t, s))
		return report.Sent
	}
	sent := func(seq uint64) {
		t.Helper()
		if err := s.Sent(seq); err != nil {
			t.Fatal(err)
		}
	}
	want := func(step string, memory, file uint64) {
		t.Helper()
		if s.SentSeq() != memory || kept() != file {
			t.Errorf("%s: cursor at %d, kept %d; want %d and %d", step, s.SentSeq(), kept(), memory, file)
		}
	}
	sent(5)
	want("in memory first", 5, 0)
	sent(3)
	want("never back", 5, 0)
	fill(t, s, 1, 1)
	want("rides along with an append", 5, 5)
	sent(6)
	if err := s.FlushSent(); err != nil {
		t.Fatal(err)
	}
	want("when asked", 6, 6)
	was := s.next
	if err := s.FlushSent(); err != nil {
		t.Fatal(err)
	}
	if s.next != was {
		t.Error("a flush without news wrote to disk")
	}
	sent(69)
	want("63 are not yet written", 69, 6)
	sent(70)
	want("64 are", 70, 70)
	sent(71)
	s = reopen(t, s)
	want("closing keeps it", 71, 71)
	if err := s.Sent(202); err == nil || !strings.Contains(err.Error(), "record 202 cannot have been sent, the last one kept is 201") {
		t.Errorf("beyond the last: %v", err)
	}
	want("a wrong one changes nothing", 71, 71)
}

// Cursors that nothing takes along are kept by themselves after a while, and what
// could not leave the journal is tried again.
func TestFlushOld(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 5, 1)
	before := s.next
	if err := errors.Join(s.FlushOld(0), s.Sent(3), s.FlushOld(time.Hour)); err != nil || s.next != before {
		t.Errorf("young or none: %v, written %t", err, s.next != before)
	}
	if err := s.FlushOld(0); err != nil || s.next == before || mustBeWhole(t, cut(t, s)).Sent != 3 {
		t.Errorf("old: %v, written %t", err, s.next != before)
	}
	before = s.next
	if err := s.FlushOld(0); err != nil || s.next != before {
		t.Errorf("kept already: %v, written %t", err, s.next != before)
	}

	s.trouble = errors.New("no room")
	if err := s.FlushOld(time.Hour); err != nil || s.settled != s.next {
		t.Errorf("tried again: %v", err)
	}
	if _, why := s.Trouble(); why != nil {
		t.Errorf("trouble is still told: %v", why)
	}
	closed(t, s)
	s.trouble = errors.New("no room")
	if err := s.FlushOld(0); err != nil {
		t.Errorf("closed: %v", err)
	}
}

func TestQueue(t *testing.T) {
	s := open(t, place(t), Options{})
	for _, row := range []struct {
		name      string
		add, sent uint64
		n         uint64
		oldest    time.Time
	}{
		{"empty", 0, 0, 0, time.Time{}},
		{"some", 10, 3, 7, stamped(shiftRecord(4)).At},
		{"all sent", 0, 10, 0, time.Time{}},
		{"one more", 1, 10, 1, stamped(shiftRecord(11)).At},
	} {
		fill(t, s, row.add, 5)
		if err := s.Sent(row.sent); err != nil {
			t.Fatal(err)
		}
		n, oldest, err := s.Queue()
		if n != row.n || !oldest.Equal(row.oldest) || err != nil {
			t.Errorf("%s: %d since %v, %v; want %d since %v", row.name, n, oldest, err, row.n, row.oldest)
		}
		s = reopen(t, s)
	}
}

// flip alters one byte of the value of a record, in the store.
func flip(t *testing.T, s *Store, seq uint64) {
	t.Helper()
	s.writing.Lock()
	defer s.writing.Unlock()
	if err := s.settle(s.waiting, s.kept); err != nil {
		t.Fatal(err)
	}
	if err := s.db.Update(func(tx *bbolt.Tx) error {
		records := tx.Bucket(bucketRecords)
		v := append([]byte(nil), records.Get(seqKey(seq))...)
		v[3] ^= 0x10
		return records.Put(seqKey(seq), v)
	}); err != nil {
		t.Fatal(err)
	}
}

// A record that cannot be read does not hold up those behind it.
func TestDamagedRecordsAreLeftOut(t *testing.T) {
	s := open(t, dir(t)+"/benchtally.db", Options{})
	fill(t, s, 100, 10)
	for _, seq := range []uint64{4, 5, 100} {
		flip(t, s, seq)
	}
	seqs := func(events []record.Event) (seqs []uint64) {
		for _, e := range events {
			seqs = append(seqs, e.Seq)
		}
		return seqs
	}
	events, err := s.Unsent(0, 5)
	if got := fmt.Sprint(seqs(events)); got != "[1 2 3 6 7]" || !errors.Is(err, ErrCorrupt) ||
		!strings.Contains(err.Error(), "record 4 is damaged: checksum does not match") || !strings.Contains(err.Error(), "record 5 ") {
		t.Errorf("events %s, %v", got, err)
	}
	if events, err := s.Unsent(99, 5); len(events) != 0 || !errors.Is(err, ErrCorrupt) {
		t.Errorf("the newest: %v, %v", seqs(events), err)
	}
	if err := s.Sent(3); err != nil {
		t.Fatal(err)
	}
	if n, _, err := s.Queue(); n != 97 || !errors.Is(err, ErrCorrupt) {
		t.Errorf("queue %d, %v", n, err)
	}
	read, bad := 0, ""
	for r, err := range s.Records(0) {
		if err != nil {
			bad += fmt.Sprint(r.Seq, errors.Is(err, ErrCorrupt), " ")
			continue
		}
		read++
	}
	if read != 97 || bad != "4 true 5 true 100 true " {
		t.Errorf("read %d records, not %s", read, bad)
	}
	// A request for damaged ones alone is served by saying so.
	if err := errors.Join(s.Resend(4, 5), s.Resend(6, 7)); err != nil {
		t.Fatal(err)
	}
	events, err = s.Resends(10)
	if got := fmt.Sprint(seqs(events)); got != "[6 7]" || !errors.Is(err, ErrCorrupt) {
		t.Errorf("to send again: %s, %v", got, err)
	}
}
