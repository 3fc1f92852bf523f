package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// cut is the path of the store's file as a power cut at this moment would leave it.
func cut(t testing.TB, s *Store) string {
	t.Helper()
	b, err := os.ReadFile(s.path)
	if err != nil {
		t.Fatal(err)
	}
	return written(t, b)
}

// written is the path of a file with these bytes.
func written(t testing.TB, b []byte) string {
	t.Helper()
	path := filepath.Join(dir(t), "cut.db")
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}
	return path
}

// Whatever was acknowledged is there after a power cut at any moment, for who
// opens the store and for who only reads it: records, their runs, note, cursors,
// session, requests, marks.
func TestCutAtAnyCommit(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	s := open(t, place(t), Options{})
	var note []byte
	var session, folded uint64
	var marked []byte
	commits := 300
	if testing.Short() {
		commits = 100
	}
	for commit := range commits {
		b := Batch{Records: shift(s.Last(), 1+random.Uint64N(9))}
		switch random.IntN(40) {
		case 0:
			note = fmt.Appendf(nil, "note %d", commit)
			b.Note = note
		case 1:
			note, b.Note = nil, []byte{}
		case 2:
			folded = s.Last() + uint64(len(b.Records))
			b.State, b.Orders = seqKey(folded), map[string][]byte{"A-1": seqKey(folded)}
		case 3:
			if n, err := s.NextSession(); err != nil || n != session+1 {
				t.Fatal(n, err)
			}
			session++
		case 4:
			marked = bytes.Repeat([]byte{byte(commit)}, random.IntN(6000))
			if err := s.SetMark("node", s.Last(), marked); err != nil {
				t.Fatal(err)
			}
		case 5:
			s = reopen(t, s)
		case 6: // more than the journal takes
			note = bytes.Repeat([]byte{byte(commit)}, ringBytes)
			b.Note = note
		case 7:
			if err := s.Resend(1+s.Last()/2, s.Last()); err != nil {
				t.Fatal(err)
			}
			for {
				again, err := s.Resends(1000)
				if err != nil {
					t.Fatal(err)
				}
				if len(again) == 0 {
					break
				}
				if err := s.Resent(again[len(again)-1].Seq); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := s.Sent(s.Last() - random.Uint64N(min(s.Last()+1, 5))); err != nil {
			t.Fatal(err)
		}
		if err := s.Append(b); err != nil {
			t.Fatal(err)
		}
		if commit%4 != 0 {
			continue
		}
		path := cut(t, s)
		report := mustBeWhole(t, path)
		if report.Last != s.Last() || report.Sent != s.SentSeq() || report.Records != s.Last() {
			t.Fatalf("commit %d: %+v, want %d records, sent %d", commit, report, s.Last(), s.SentSeq())
		}
		for _, o := range []Options{{ReadOnly: true}, {}} {
			again := open(t, path, o)
			mustHold(t, again, 1, s.Last())
			got, err := again.Note()
			if !bytes.Equal(got, note) || err != nil {
				t.Fatalf("commit %d: note %q, %v; want %q", commit, got, err, note)
			}
			if _, got, err := again.Mark("node"); !bytes.Equal(got, marked) || err != nil {
				t.Fatalf("commit %d: mark of %d bytes, %v; want %d", commit, len(got), err, len(marked))
			}
			state, seq, err := again.State()
			order, oerr := again.Order("A-1")
			if seq != folded || folded > 0 && (!bytes.Equal(state, seqKey(folded)) || !bytes.Equal(order, state)) || errors.Join(err, oerr) != nil {
				t.Fatalf("commit %d: state %x up to %d, order %x, %v, %v; want %d", commit, state, seq, order, err, oerr, folded)
			}
			was, err := s.Unsent(0, 1000)
			now, err2 := again.Unsent(0, 1000)
			if !reflect.DeepEqual(was, now) || errors.Join(err, err2) != nil {
				t.Fatalf("commit %d: %d events, then %d; %v, %v", commit, len(was), len(now), err, err2)
			}
			if !reflect.DeepEqual(again.now.requests, s.now.requests) && len(s.now.requests) > 0 {
				t.Fatalf("commit %d: requests %v, want %v", commit, again.now.requests, s.now.requests)
			}
			if !o.ReadOnly {
				if n, err := again.NextSession(); n != session+1 || err != nil {
					t.Fatalf("commit %d: session %d, %v; want %d", commit, n, err, session+1)
				}
			}
			closed(t, again)
		}
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
	if s.next.pos < 2*ringSlots && !testing.Short() {
		t.Errorf("only %d slots were written", s.next.pos)
	}
}

// A power cut within the writing of an entry leaves any of its sectors old and any
// new. Nothing acknowledged is harmed, and the entry is there whole or not at all.
func TestTornEntry(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	for round := range 60 {
		s := open(t, place(t), Options{})
		fill(t, s, 3*uint64(round), 1) // up to beyond the end of the ring
		before, err := os.ReadFile(s.path)
		if err != nil {
			t.Fatal(err)
		}
		acknowledged, from := s.Last(), s.next.pos
		fill(t, s, 1+random.Uint64N(150), 200)
		after, err := os.ReadFile(s.path)
		if err != nil {
			t.Fatal(err)
		}
		if s.settled.pos > from {
			continue // its entry made the journal settle: not about the entry alone
		}
		torn := bytes.Clone(before)
		old := 0
		for slot := from; slot < s.next.pos; slot++ {
			at := int(s.ring.base) + int(slot%ringSlots)*pageSize
			for sector := at; sector < at+pageSize; sector += 512 {
				if random.IntN(4) > 0 {
					copy(torn[sector:sector+512], after[sector:])
				} else if !bytes.Equal(before[sector:sector+512], after[sector:sector+512]) {
					old++
				}
			}
		}
		path := written(t, torn)
		want := acknowledged
		if old == 0 {
			want = s.Last()
		}
		mustBeWhole(t, path)
		again := open(t, path, Options{})
		mustHold(t, again, 1, want)
		fill(t, again, 3, 1) // over what was torn
		mustHold(t, open(t, cut(t, again), Options{ReadOnly: true}), 1, want+3)
	}
}

// An entry that cannot be read while one behind it can is damage, and said.
func TestDamagedEntry(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 30, 1)
	b, err := os.ReadFile(s.path)
	if err != nil {
		t.Fatal(err)
	}
	for slot := 0; slot < 29; slot += 1 + slot/3 {
		for _, at := range []int{0, 5, 9, 17, 21, ringHead, ringHead + 10} {
			bad := bytes.Clone(b)
			bad[int(s.ring.base)+slot*pageSize+at] ^= 0x20
			path := written(t, bad)
			if _, err := Open(path, Options{}); !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), fmt.Sprintf("journal: the entry at %d cannot be read", slot)) {
				t.Fatalf("slot %d, byte %d: open: %v", slot, at, err)
			}
			report, err := Verify(path)
			if all := strings.Join(report.Damage, "\n"); err != nil || !strings.Contains(all, fmt.Sprintf("journal: the entry at %d cannot be read", slot)) || report.Records != uint64(slot) {
				t.Fatalf("slot %d, byte %d: verify: %v, %d records\n%s", slot, at, err, report.Records, all)
			}
			if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, bad) {
				t.Fatalf("the file was changed (%v)", err)
			}
		}
	}
}

// A card that loses bbolt's last commit loses no record by it: the older root page
// names the place from which the journal still holds them.
func TestOlderRoot(t *testing.T) {
	for commits := uint64(0); commits < 2*ringDue; commits += 7 {
		s := open(t, place(t), Options{})
		fill(t, s, commits+1, 1)
		closed(t, s)
		zeroNewerRoot(t, s.path)
		reader := open(t, s.path, Options{ReadOnly: true})
		mustHold(t, reader, 1, commits+1)
		closed(t, reader)
		mustHold(t, open(t, s.path, Options{}), 1, commits+1)
	}
}

// What was written and not confirmed may be on disk. It must not be taken for an
// entry once others have taken its place.
func TestUnconfirmedEntry(t *testing.T) {
	attempt := func(s *Store, records uint64) { // writes an entry as if its flush had failed
		t.Helper()
		rs := shift(s.Last(), records)
		for i := range rs {
			rs[i].Reason = "never acknowledged"
		}
		values, err := packAll(rs)
		if err != nil {
			t.Fatal(err)
		}
		e := entry{now: s.now, run: s.run, first: s.Last() + 1, values: values}
		b := e.append(make([]byte, ringHead))
		if _, err := s.ring.write(s.next, b); err != nil {
			t.Fatal(err)
		}
		s.reach = max(s.reach, s.next.pos+slots(len(b)-ringHead))
	}
	for _, size := range []uint64{1, 100} {
		for _, again := range []uint64{1, 120} {
			s := open(t, place(t), Options{})
			fill(t, s, 7, 1)
			attempt(s, size)
			fill(t, s, again, 200) // tried again, with other records
			mustHold(t, open(t, cut(t, s), Options{ReadOnly: true}), 1, s.Last())
			attempt(s, size)
			s.writing.Lock()
			if err := s.settle(s.waiting, s.kept); err != nil { // not by the journal
				t.Fatal(err)
			}
			s.writing.Unlock()
			mustHold(t, open(t, cut(t, s), Options{ReadOnly: true}), 1, s.Last())
			fill(t, s, 2, 1)
			mustHold(t, open(t, cut(t, s), Options{}), 1, s.Last())
		}
	}
}

// A write to the journal fails, then moving it on is not confirmed: what the journal
// takes behind that is found from the root page of before and from that of after.
func TestUnconfirmedSettling(t *testing.T) {
	for _, lost := range []bool{false, true} {
		s := open(t, place(t), Options{})
		fill(t, s, 7, 1)
		s.reach = s.next.pos + 3 // tried, and failed
		w, settled := s.waiting, s.settled
		s.writing.Lock()
		if err := s.settle(w, s.kept); err != nil {
			t.Fatal(err)
		}
		s.waiting, s.settled, s.broken = w, settled, errors.New("not confirmed")
		s.writing.Unlock()
		fill(t, s, 2, 1)
		path := cut(t, s)
		if lost {
			zeroNewerRoot(t, path)
		}
		mustHold(t, open(t, path, Options{}), 1, 9)
	}
}

// A journal belongs to its store.
func TestJournalOfAnotherStore(t *testing.T) {
	one, two := open(t, place(t), Options{}), open(t, place(t), Options{})
	fill(t, one, 5, 1)
	b, err := os.ReadFile(two.path)
	if err != nil {
		t.Fatal(err)
	}
	journal, err := one.ring.all()
	if err != nil {
		t.Fatal(err)
	}
	copy(b[two.ring.base:], journal)
	mustHold(t, open(t, written(t, b), Options{}), 1, 0)
}

// What waits in the journal is in a backup, whichever way it is made.
func TestBackupOfWhatWaits(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 300, 7)
	if err := errors.Join(s.Sent(200), s.SetMark("node", 100, []byte("mark")), s.Append(Batch{Note: []byte("note")})); err != nil {
		t.Fatal(err)
	}
	fill(t, s, 3, 1)
	if s.waiting.values == nil {
		t.Fatal("nothing waits")
	}
	var raw bytes.Buffer
	if err := s.Backup(&raw); err != nil {
		t.Fatal(err)
	}
	packed, ofReader := filepath.Join(dir(t), "packed.db"), filepath.Join(dir(t), "reader.db")
	reader := open(t, cut(t, s), Options{ReadOnly: true})
	if err := errors.Join(s.BackupFile(packed), reader.BackupFile(ofReader)); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{written(t, raw.Bytes()), packed, ofReader} {
		if report := mustBeWhole(t, path); report.Records != 303 || report.Sent != 200 {
			t.Errorf("%+v", report)
		}
		for i, o := range []Options{{ReadOnly: true}, {}, {}} {
			again := open(t, path, o)
			mustHold(t, again, 1, 303+uint64(max(0, i-1)))
			note, err := again.Note()
			seq, mark, err2 := again.Mark("node")
			if string(note) != "note" || seq != 100 || string(mark) != "mark" || errors.Join(err, err2) != nil {
				t.Errorf("note %q, mark %d %q, %v, %v", note, seq, mark, err, err2)
			}
			if !o.ReadOnly {
				fill(t, again, 1, 1)
			}
			closed(t, again)
		}
	}
}

// FuzzJournal reads any ring: nothing crashes, and only entries that follow each
// other come out.
func FuzzJournal(f *testing.F) {
	r := ring{salt: 42}
	b := make([]byte, 3*pageSize)
	at := spot{}
	for i := range 3 {
		e := entry{now: cursors{sent: uint64(i)}, first: uint64(1 + i), values: [][]byte{seal(seqKey(uint64(1+i)), []byte("record"))}}
		one := e.append(make([]byte, ringHead))
		at = r.entryBytes(at, one)
		copy(b[i*pageSize:], one)
	}
	f.Add(b, uint64(0), uint32(0))
	f.Add(b[:pageSize], uint64(1), at.sum)
	f.Fuzz(func(t *testing.T, some []byte, pos uint64, sum uint32) {
		b := make([]byte, ringBytes)
		copy(b[pos%ringSlots*pageSize:], some)
		n := 0
		end, _, err := r.entries(b, spot{pos, sum}, func(payload []byte) error {
			n++
			var e entry
			if err := e.parse(payload); err != nil {
				return err
			}
			return nil
		})
		if err == nil && (end.pos < pos || end.pos-pos > ringSlots || n == 0 && end != (spot{pos, sum})) {
			t.Errorf("%d entries from %d to %d", n, pos, end.pos)
		}
	})
}

// FuzzEntry reads any payload: nothing crashes, and what is read is written the same.
func FuzzEntry(f *testing.F) {
	whole := entry{
		now:  cursors{sent: 300, session: 5, requests: []request{{1, 2}, {7, 9}}, marks: map[string]mark{"a": {4, []byte("x")}, "b": {5, []byte{}}}},
		asks: true, marked: true, note: []byte("note"), run: "00c0ffee00c0ffee", first: 301, values: [][]byte{{1, 2}, {3}},
	}
	f.Add(whole.append(nil))
	f.Add((&entry{}).append(nil))
	f.Add([]byte{0xff})
	f.Add(binary.AppendUvarint([]byte{holdsRecords, 1, 1, 1}, 1<<40))
	f.Fuzz(func(t *testing.T, b []byte) {
		var e, again entry
		if e.parse(b) != nil {
			return
		}
		out := e.append(nil)
		if err := again.parse(out); err != nil || !bytes.Equal(again.append(nil), out) {
			t.Errorf("%x read, %x written, %v", b, out, err)
		}
	})
}
