package store

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// state and order of the tests of rescues: texts of the form that a station writes.
var (
	savedState = []byte(`{"seq":700,"cage":"C-21"}` + strings.Repeat(" ", 2000))
	savedOrder = []byte(`{"id":"A-1001"}`)
)

// shipped is the bytes of a store with a bit of everything, in two runs, and the ids
// of its events.
func shipped(t testing.TB) (b []byte, id string, ids map[uint64]string) {
	t.Helper()
	path := filepath.Join(dir(t), "shipped.db")
	s := open(t, path, Options{})
	fill(t, s, 700, 50)
	if err := s.Append(Batch{State: savedState, Orders: map[string][]byte{"A-1001": savedOrder, "note": []byte(`{"id":"note"}`)}}); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.Sent(300), s.Resend(290, 310), s.SetMark("node", 250, []byte("image"))); err != nil {
		t.Fatal(err)
	}
	if _, err := s.NextSession(); err != nil {
		t.Fatal(err)
	}
	s = reopen(t, s)
	fill(t, s, 103, 1)
	if err := errors.Join(s.Sent(500), s.FlushSent()); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Prune(shiftRecord(100).At, 60); n != 60 || err != nil {
		t.Fatal(n, err)
	}
	ids = map[uint64]string{}
	events, err := s.events(0, s.Last(), 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		ids[e.Seq] = e.ID
	}
	id = s.ID()
	closed(t, s)
	if b, err = os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	return b, id, ids
}

// rescueOf rescues bytes and opens what came of them.
func rescueOf(t testing.TB, b []byte, o RescueOptions) (*Store, Rescued, error) {
	t.Helper()
	d := dir(t)
	path, dest := filepath.Join(d, "damaged.db"), filepath.Join(d, "rescued.db")
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}
	if o.Now.IsZero() {
		o.Now = epoch
	}
	report, err := Rescue(path, dest, o)
	if err != nil {
		if names, _ := filepath.Glob(filepath.Join(d, "*")); len(names) != 1 {
			t.Errorf("a rescue that failed left %v", names)
		}
		return nil, report, err
	}
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, b) {
		t.Errorf("the damaged file was changed (%v)", err)
	}
	mustBeWhole(t, dest)
	return open(t, dest, Options{}), report, nil
}

// A store that is whole is rescued whole: records, ids, cursors, state, orders,
// marks, sessions, requests; and it goes on.
func TestRescueOfAWholeStore(t *testing.T) {
	b, id, ids := shipped(t)
	s, report, err := rescueOf(t, b, RescueOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if report.Was != id || s.ID() == id || report.ID != s.ID() {
		t.Errorf("was %s, is %s, report %+v", id, s.ID(), report)
	}
	if report.Records != 743 || report.First != 61 || report.Last != 803 || report.LostCount != 0 || len(report.Doubts) != 0 ||
		report.Sent != 500 || report.State != 700 || report.Orders != 2 {
		t.Errorf("%+v", report)
	}
	mustHoldBut(t, s, 61, 803, nil)
	state, seq, err1 := s.State()
	order, err2 := s.Order("A-1001")
	other, err3 := s.Order("note")
	mark, image, err4 := s.Mark("node")
	if err := errors.Join(err1, err2, err3, err4); err != nil || !bytes.Equal(state, savedState) || seq != 700 || !bytes.Equal(order, savedOrder) ||
		len(other) == 0 || mark != 250 || string(image) != "image" || s.SentSeq() != 500 {
		t.Errorf("state %d at %d, order %q, mark %d %q, sent %d, %v", len(state), seq, order, mark, image, s.SentSeq(), err)
	}
	if session, err := s.NextSession(); session != 2 || err != nil {
		t.Errorf("session %d, %v: want the one behind 1", session, err)
	}
	mustKeepIDs(t, s, ids)
	if again, err := s.Resends(100); err != nil || len(again) != 21 || again[0].Seq != 290 || again[0].ID != ids[290] {
		t.Errorf("asked for again: %v, %v", again, err)
	}
	fill(t, s, 5, 1)
	events, err := s.Unsent(803, 10)
	if err != nil || len(events) != 6 || events[1].ID != s.ID()+"-"+s.Run()+"-805" ||
		!strings.Contains(string(events[0].Record), `"kind":"fault","state":"on","source":"store","reason":"the store was damaged: 743 records were rescued, no loss is known`) {
		t.Errorf("new events: %v, %v", events, err)
	}
	// Rescued once more, ids are still the first ones.
	closed(t, s)
	again, err := os.ReadFile(s.path)
	if err != nil {
		t.Fatal(err)
	}
	second, _, err := rescueOf(t, again, RescueOptions{Now: epoch.AddDate(0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	mustKeepIDs(t, second, ids)
	if all, err := second.Rescues(); err != nil || len(all) != 2 || all[0].Was != id || all[1].Was != s.ID() {
		t.Errorf("told of rescues: %+v, %v", all, err)
	}
}

// mustKeepIDs checks that events that were made before have the ids that they had.
func mustKeepIDs(t testing.TB, s *Store, ids map[uint64]string) {
	t.Helper()
	events, err := s.events(0, 803, 2000)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		if want := ids[e.Seq]; want != "" && e.ID != want {
			t.Fatalf("event %d has the id %s, had %s", e.Seq, e.ID, ids[e.Seq])
		}
	}
}

// Whatever is written over whichever page: no record comes out other than it went in, what is
// not found is named, the new store is whole and goes on behind all that was given.
func TestRescueOfAnyPageDamaged(t *testing.T) {
	whole, id, ids := shipped(t)
	random := rand.New(rand.NewPCG(1, 2))
	for p := range len(whole) / pageSize {
		if empty := make([]byte, pageSize); bytes.Equal(whole[p*pageSize:][:pageSize], empty) || testing.Short() && p%5 != 0 {
			continue // a slot of the journal that was never used
		}
		kinds := []string{"zeros", "noise", "its neighbour", "a bad header", "one flipped byte"}
		for i := range 2 {
			with := kinds[(p+i*2)%len(kinds)]
			name := fmt.Sprintf("page %d overwritten with %s", p, with)
			b := bytes.Clone(whole)
			at := b[p*pageSize:][:pageSize]
			switch with {
			case "zeros":
				clear(at)
			case "noise":
				for i := range at {
					at[i] = byte(random.Uint32())
				}
			case "its neighbour":
				copy(at, whole[(p+1)*pageSize%len(whole):])
			case "a bad header":
				for i := range at[:headerSize] {
					at[i] = byte(random.Uint32())
				}
			case "one flipped byte":
				at[random.IntN(pageSize)] ^= byte(1 + random.IntN(255))
			}
			s, report, err := rescueOf(t, b, RescueOptions{})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			// Where nothing says what was let go, it may come back.
			certain := report.First == 61 || report.First == 1 && strings.Contains(strings.Join(report.Doubts, " "), "cursors")
			if report.Was != id || report.Last+report.Skipped < 803 || !certain || report.Records+report.LostCount != report.Last-report.First+1 {
				t.Fatalf("%s: %+v", name, report)
			}
			mustHoldBut(t, s, report.First, report.Last, report.Lost)
			if !strings.Contains(strings.Join(report.Doubts, "\n"), "the run of") {
				mustKeepIDs(t, s, ids)
			}
			if session, err := s.NextSession(); session < 2 || err != nil {
				t.Fatalf("%s: session %d, %v", name, session, err)
			}
			if s.SentSeq() > 500 {
				t.Fatalf("%s: sent %d", name, s.SentSeq())
			}
			if err := s.Append(Batch{Records: shift(s.Last(), 1)}); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			path := s.path
			closed(t, s)
			mustBeWhole(t, path)
		}
	}
}

// mustHoldBut is mustHold without what was lost, which is told once.
func mustHoldBut(t testing.TB, s *Store, first, last uint64, lost []Range) {
	t.Helper()
	next := first
	var told []Range
	for r, err := range s.Records(0) {
		if errors.Is(err, ErrLost) {
			told = append(told, Range{next, r.Seq})
			next = r.Seq + 1
			continue
		}
		if r.Kind == record.Fault && r.Seq > last {
			break
		}
		if err != nil || r.Seq != next {
			t.Fatalf("record %d, %v; want %d", r.Seq, err, next)
		}
		want := shiftRecord(next)
		if string(r.AppendJSON(nil)) != string(want.AppendJSON(nil)) {
			t.Fatalf("record %d is %s", r.Seq, r.AppendJSON(nil))
		}
		next++
	}
	if n := len(told); n > 0 && told[n-1].To-told[n-1].From == margin-1 {
		told = told[:n-1] // skipped, not lost
	}
	if next <= last || !slices.Equal(told, lost) {
		t.Fatalf("records end at %d, lost are %v, want %v", next-1, told, lost)
	}
}

// What no page in use holds is taken from pages that were given up, as long as
// nothing says otherwise.
func TestRescueWithoutCursors(t *testing.T) {
	whole, _, _ := shipped(t)
	m, _ := newest(t, whole)
	b := bytes.Clone(whole)
	clear(b[m.root*pageSize:][:pageSize])
	s, report, err := rescueOf(t, b, RescueOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if report.Last < 802 || report.Last > 803 || report.Skipped != margin || s.Last() != report.Last+margin+1 || !strings.Contains(strings.Join(report.Doubts, " "), "cursors could not be read") {
		t.Errorf("%+v", report)
	}
	if session, err := s.NextSession(); session < margin || err != nil {
		t.Errorf("session %d, %v: may have been given before", session, err)
	}
}

// Pages that the card does not give are lost, nothing else.
func TestRescueOfUnreadablePages(t *testing.T) {
	whole, _, _ := shipped(t)
	pages := copiesOf(whole, 200)
	s, report, err := rescueOf(t, whole, RescueOptions{reader: func(f *os.File) readerAt { return holes{f, pages} }})
	if err != nil {
		t.Fatal(err)
	}
	if report.Unreadable != len(pages) || report.LostCount == 0 || report.LostCount > 60 || report.Records != 743-report.LostCount ||
		!strings.Contains(report.Sentence(), "are lost ("+listed(report.Lost, 6)+"); ") {
		t.Errorf("%+v", report)
	}
	mustHoldBut(t, s, 61, 803, report.Lost)
	if _, err := s.Unsent(0, 1000); err != nil {
		t.Errorf("unsent: %v; what is lost is no damage", err)
	}
	if err := s.Resend(report.Lost[0].From, report.Lost[0].To+1); err != nil {
		t.Fatal(err)
	}
	if err := s.Resent(310); err != nil {
		t.Fatal(err)
	}
	if again, err := s.Resends(100); err != nil || len(again) != 1 || again[0].Seq != report.Lost[0].To+1 {
		t.Errorf("asked for what is lost: %v, %v", again, err)
	}
}

// copiesOf are the pages that hold a record: in use, given up, or of the journal.
func copiesOf(b []byte, seq uint64) map[int64]bool {
	value, pages := sealedRecord(shiftRecord(seq)), map[int64]bool{}
	for at := 0; ; at++ {
		i := bytes.Index(b[at:], value)
		if i < 0 {
			return pages
		}
		at += i
		pages[int64(at/pageSize)], pages[int64((at+len(value)-1)/pageSize)] = true, true
	}
}

// holes is a file with pages that cannot be read.
type holes struct {
	f  *os.File
	at map[int64]bool
}

func (h holes) ReadAt(b []byte, off int64) (int, error) {
	for p := off / pageSize; p*pageSize < off+int64(len(b)); p++ {
		if h.at[p] {
			return 0, syscall.EIO
		}
	}
	return h.f.ReadAt(b, off)
}

func TestRescueRefuses(t *testing.T) {
	for _, row := range []struct {
		name string
		b    []byte
		want string
	}{
		{"a text", bytes.Repeat([]byte("spec,cage,diameter\n"), 5000), "holds nothing"},
		{"a database of another program", otherDatabase(t), "holds nothing"},
	} {
		if _, _, err := rescueOf(t, row.b, RescueOptions{}); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
}

// otherDatabase is the bytes of a database that no benchtally made.
func otherDatabase(t *testing.T) []byte {
	t.Helper()
	path := filepath.Join(dir(t), "other.db")
	db, err := bbolt.Open(path, 0o640, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Update(func(tx *bbolt.Tx) error {
		b, err := tx.CreateBucket([]byte("meta"))
		return errors.Join(err, b.Put([]byte("id"), []byte("1")))
	}); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A file of which nothing is left, as a card leaves it, is no reason not to begin.
func TestRescueOfNothing(t *testing.T) {
	for name, b := range map[string][]byte{"no bytes": nil, "zeros": make([]byte, 1<<20)} {
		s, report, err := rescueOf(t, b, RescueOptions{})
		if err != nil || report.Records != 0 || report.Was != "" || !strings.Contains(report.Sentence(), "begins anew") {
			t.Fatalf("%s: %+v, %v", name, report, err)
		}
		if err := s.Append(Batch{Records: shift(s.Last(), 2)}); err != nil {
			t.Error(err)
		}
	}
}

// A card that gives hardly anything may be a loose contact: nothing is made of it.
func TestRescueOfACardThatIsGone(t *testing.T) {
	whole, _, _ := shipped(t)
	all := map[int64]bool{}
	for p := range len(whole) / pageSize {
		all[int64(p)] = true
	}
	_, _, err := rescueOf(t, whole, RescueOptions{reader: func(f *os.File) readerAt { return holes{f, all} }})
	if !errors.Is(err, errGone) {
		t.Errorf("%v, want %v", err, errGone)
	}
}

// TestSetAside: the damaged file is kept under a name of its own, and the store
// goes on; cut at any step, the next start ends it.
func TestSetAside(t *testing.T) {
	whole, id, _ := shipped(t)
	b := bytes.Clone(whole)
	clear(b[2*pageSize:][:4*pageSize])
	m, _ := newest(t, whole)
	clear(b[m.freelist*pageSize:][:pageSize])
	for _, step := range []string{"", "aside", "in place"} {
		t.Run("cut before "+step, func(t *testing.T) {
			path := filepath.Join(dir(t), "bench.db")
			if err := os.WriteFile(path, b, 0o640); err != nil {
				t.Fatal(err)
			}
			seen := See(path)
			_, why := Open(path, Options{})
			if !errors.Is(why, ErrCorrupt) {
				t.Fatal(why)
			}
			power := errors.New("power cut")
			beforeStep = func(s string) error {
				if s == step {
					return power
				}
				return nil
			}
			report, err := SetAside(path, seen, why, RescueOptions{Now: epoch})
			beforeStep = func(string) error { return nil }
			if step != "" {
				if !errors.Is(err, power) {
					t.Fatal(err)
				}
				if err := Recover(path); err != nil {
					t.Fatal(err)
				}
				if step == "aside" { // the damaged file is still in its place: once more
					if report, err = SetAside(path, See(path), why, RescueOptions{Now: epoch}); err != nil {
						t.Fatal(err)
					}
				}
			} else if err != nil {
				t.Fatal(err)
			}
			aside, err := Aside(path)
			if err != nil || len(aside) != 1 || aside[0] != path+".damaged-20260302T060000Z" || report.From != aside[0] {
				t.Fatalf("%v, %v; report %+v", aside, err, report)
			}
			if kept, err := os.ReadFile(aside[0]); err != nil || !bytes.Equal(kept, b) {
				t.Errorf("the damaged file is not what it was (%v)", err)
			}
			s := open(t, path, Options{})
			all, err := s.Rescues()
			if err != nil || len(all) != 1 || all[0].Was != id || !strings.Contains(all[0].Why, "is damaged") || strings.Contains(all[0].Why, "benchtally verify") {
				t.Errorf("%+v, %v", all, err)
			}
			fill(t, s, 3, 1)
			closed(t, s)
			mustBeWhole(t, path)
			if names, _ := filepath.Glob(path + "*"); len(names) != 2 {
				t.Errorf("left behind: %v", names)
			}
		})
	}
}

// Where the journal cannot be read in the middle, what lies behind it is found all
// the same, and the gap is named.
func TestRescueOfAGapInTheJournal(t *testing.T) {
	path := filepath.Join(dir(t), "bench.db")
	s := open(t, path, Options{})
	fill(t, s, 20, 1)
	if err := s.Sent(12); err != nil {
		t.Fatal(err)
	}
	fill(t, s, 20, 1)
	b, err := os.ReadFile(path) // as it is when the power is cut: nothing was settled
	if err != nil {
		t.Fatal(err)
	}
	id, run := s.ID(), s.Run()
	for page := range copiesOf(b, 25) {
		b[page*pageSize+ringHead+2] ^= 1
	}
	if err := os.WriteFile(path+".cut", b, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(path+".cut", Options{}); !errors.Is(err, ErrCorrupt) {
		t.Fatalf("opened: %v", err)
	}
	saved, report, err := rescueOf(t, b, RescueOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if report.Records != 39 || report.Last != 40 || !slices.Equal(report.Lost, []Range{{25, 25}}) || report.Sent != 12 || len(report.Doubts) != 0 {
		t.Errorf("%+v", report)
	}
	mustHoldBut(t, saved, 1, 40, report.Lost)
	if events, err := saved.Unsent(0, 100); err != nil || len(events) != 28 || events[0].ID != id+"-"+run+"-13" {
		t.Errorf("%d events, %v", len(events), err)
	}
}

// A store that took the damaged one's place meanwhile is not set aside.
func TestSetAsideOnlyWhatWasSeen(t *testing.T) {
	path := filepath.Join(dir(t), "bench.db")
	if err := os.WriteFile(path, []byte("damaged"), 0o640); err != nil {
		t.Fatal(err)
	}
	seen := See(path)
	if err := os.Rename(path, path+".old"); err != nil {
		t.Fatal(err)
	}
	s := open(t, path, Options{})
	fill(t, s, 3, 1)
	closed(t, s)
	if _, err := SetAside(path, seen, ErrCorrupt, RescueOptions{Now: epoch}); err == nil || !strings.Contains(err.Error(), "another file") {
		t.Fatal(err)
	}
	mustHold(t, open(t, path, Options{}), 1, 3)
}

// FuzzRescue: of arbitrary bytes nothing is made up, and nothing panics.
func FuzzRescue(f *testing.F) {
	whole, _, _ := shipped(f)
	f.Add(whole[:8*pageSize], uint32(0), byte(0))
	f.Add(whole, uint32(5*pageSize+12), byte(255))
	f.Add([]byte("nothing"), uint32(1), byte(1))
	f.Fuzz(func(t *testing.T, b []byte, at uint32, with byte) {
		if len(b) > 1<<20 {
			return
		}
		if len(b) > 0 {
			b = bytes.Clone(b)
			b[int(at)%len(b)] ^= with
		}
		s, report, err := rescueOf(t, b, RescueOptions{})
		if err != nil {
			return
		}
		for r, err := range s.Records(0) {
			if errors.Is(err, ErrLost) {
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			if r.Seq == report.after() {
				break // the rescue's own
			}
			// What was found lies in the file with its checksum: it was not made up.
			if !bytes.Contains(b, sealedRecord(r)) {
				t.Fatalf("record %d is in the file with no seal: %s", r.Seq, r.AppendJSON(nil))
			}
		}
		if s.Last() != report.after() {
			t.Fatalf("last %d, told %d", s.Last(), report.Last)
		}
	})
}

func sealedRecord(r record.Record) []byte {
	key := seqKey(r.Seq)
	return finish(key, pack(begin(nil), &r))
}
