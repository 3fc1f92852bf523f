package store

import (
	"errors"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"benchtally/store/faulty"
)

// card is a store on a card with faults.
func card(t *testing.T) (f *faulty.FS, s *Store, path string) {
	t.Helper()
	f = faulty.Mount(t)
	path = filepath.Join(f.Dir, "bench.db")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		f.Mend()
		_ = s.Close() // tests close it themselves where it matters
	})
	fill(t, s, 20, 1)
	return f, s, path
}

// TestCardFull: the journal has its room set aside. On a full card it takes some hundred
// commits more, says so from the first on that it cannot be emptied, and what is kept is there
// when the power is cut; with room again everything goes on.
func TestCardFull(t *testing.T) {
	f, s, path := card(t)
	f.Fill()
	var err error
	told := uint64(0)
	for err == nil {
		if s.Last() > 5000 {
			t.Fatal("the card is full and takes everything")
		}
		err = s.Append(Batch{Records: shift(s.Last(), 1)})
		if _, why := s.Trouble(); why != nil && told == 0 {
			told = s.Last()
		}
	}
	room, why := s.Trouble()
	if !errors.Is(err, ErrFull) || !errors.Is(why, ErrFull) || room != 0 {
		t.Fatalf("%v; trouble %v, room %d", err, why, room)
	}
	kept := s.Last()
	if told == 0 || kept-told < 40 {
		t.Errorf("told at record %d that there is no room, full at %d: want some warning", told, kept)
	}
	mustHold(t, s, 1, kept)
	if s.Retry(); s.last != kept {
		t.Errorf("last %d, want %d", s.last, kept)
	}
	if err := s.FlushSent(); err != nil {
		t.Errorf("cursors have no room: %v", err)
	}
	f.Cut(100, 0)
	_ = s.Close() // the power is gone
	f.Mend()
	s = open(t, path, Options{})
	mustHold(t, s, 1, kept)
	fill(t, s, 200, 1)
	closed(t, s)
	mustBeWhole(t, path)
}

// TestCardReadOnly, and all that keeps a card from being written for a while: nothing is
// kept, that is said, and afterwards the same batch is kept once.
func TestCardAwayForAWhile(t *testing.T) {
	for _, row := range []struct {
		name string
		turn func(f *faulty.FS, errno syscall.Errno)
		err  syscall.Errno
		want string
	}{
		{"mounted read-only", (*faulty.FS).Fail, syscall.EROFS, "read-only file system"},
		{"no write", (*faulty.FS).Fail, syscall.EIO, "input/output error"},
		{"quota", (*faulty.FS).Fail, syscall.EDQUOT, "is full"},
		{"no sync", (*faulty.FS).FailSync, syscall.EIO, "input/output error"},
	} {
		t.Run(row.name, func(t *testing.T) {
			f, s, path := card(t)
			for _, n := range []uint64{1, 70, 300} { // into the journal, and past its settling
				row.turn(f, row.err)
				batch := Batch{Records: shift(s.Last(), 1), Note: []byte("note")}
				for range 3 {
					if err := s.Append(batch); err == nil || !strings.Contains(err.Error(), row.want) {
						t.Fatalf("%v, want %q", err, row.want)
					}
				}
				if _, err := s.NextSession(); err == nil {
					t.Fatal("a session was counted")
				}
				row.turn(f, 0)
				if err := s.Append(batch); err != nil {
					t.Fatal(err)
				}
				fill(t, s, n, 1)
			}
			last := s.Last()
			closed(t, s)
			mustBeWhole(t, path)
			mustHold(t, open(t, path, Options{}), 1, last)
		})
	}
}

// Where the settling is not confirmed, the journal leads on, and when the card is well
// again it is settled without a new start, whichever of its syncs had failed.
func TestSettlingIsTakenUpAgain(t *testing.T) {
	for spared := range 3 {
		f, s, path := card(t)
		for s.next.pos-s.settled.pos < ringDue-1 {
			fill(t, s, 1, 1)
		}
		f.FailSyncAfter(spared + 1) // the journal's own comes first
		fill(t, s, 1, 1)
		_, why := s.Trouble()
		if spared < 2 && why == nil || spared == 2 && why != nil {
			t.Fatalf("%d syncs of the settling: trouble %v", spared, why)
		}
		if unconfirmed := spared == 1; (s.broken != nil) != unconfirmed {
			t.Errorf("%d syncs of the settling: unconfirmed %v", spared, s.broken)
		}
		f.FailSync(0)
		if s.Retry(); s.broken != nil {
			t.Errorf("%d syncs of the settling: %v", spared, s.broken)
		}
		if _, why := s.Trouble(); why != nil {
			t.Errorf("%d syncs of the settling: %v", spared, why)
		}
		fill(t, s, 2*ringSlots, 1)
		if _, why := s.Trouble(); why != nil {
			t.Errorf("%d syncs of the settling: still in trouble: %v", spared, why)
		}
		last := s.Last()
		closed(t, s)
		mustBeWhole(t, path)
		mustHold(t, open(t, path, Options{}), 1, last)
	}
}

// What went past the journal and was not confirmed may be on disk: nothing more is
// written then, since the numbers of its records may be taken, until a start finds out.
func TestUnconfirmedPastTheJournal(t *testing.T) {
	f, s, path := card(t)
	fill(t, s, 30-s.Last(), 1)
	f.FailSyncAfter(2) // the root page's: the file grows first
	err := s.Append(Batch{Records: shift(30, 1), Note: make([]byte, ringBytes)})
	if err == nil || s.halted == nil {
		t.Fatalf("taken, or forgotten: %v", err)
	}
	f.FailSync(0)
	if again := s.Append(Batch{Records: shift(30, 2)}); again == nil || again.Error() != err.Error() {
		t.Errorf("after %v: %v", err, again)
	}
	mustHold(t, s, 1, 30)
	_ = s.Close() // it tells that nothing can be written
	again := open(t, path, Options{})
	fill(t, again, 5, 1)
	mustHold(t, again, 1, again.Last())
	if last := again.Last(); last != 35 && last != 36 { // the root page arrived, or it did not
		t.Errorf("last %d", last)
	}
}

// TestCardCut cuts the power at any write: whichever of the writes that were not synced are
// lost, and wherever the last one is torn, all that was acknowledged is there.
func TestCardCut(t *testing.T) {
	rounds := 60
	if testing.Short() {
		rounds = 10
	}
	random := rand.New(rand.NewPCG(5, 6))
	f, s, path := card(t)
	for round := range rounds {
		tear := random.IntN(150)
		acknowledged := s.Last()
		for n := 0; ; n++ {
			if n == tear {
				f.Tear(random.IntN(9))
			}
			b := Batch{Records: shift(s.Last(), 1+random.Uint64N(5))}
			if random.IntN(20) == 0 {
				b.State = []byte("state")
			}
			if err := s.Append(b); err != nil {
				break
			}
			acknowledged = s.Last()
			if n > 400 {
				t.Fatal("the power is gone and everything is kept")
			}
		}
		f.Cut(50, random.Uint64())
		_ = s.Close() // the power is gone
		f.Mend()
		s = open(t, path, Options{})
		if s.Last() < acknowledged {
			t.Fatalf("round %d: record %d was acknowledged, the last is %d", round, acknowledged, s.Last())
		}
		mustHold(t, s, 1, s.Last())
	}
	closed(t, s)
	mustBeWhole(t, path)
}

// TestCardRots: pages that the card does not give any more, and bytes that changed on it,
// are named; what is left is rescued.
func TestCardRots(t *testing.T) {
	f, s, path := card(t)
	fill(t, s, 600, 20)
	closed(t, s)
	f.Flip("bench.db", 5*pageSize+2000, 0xff)
	f.Rot(faulty.Page{Name: "bench.db", N: 4}, faulty.Page{Name: "bench.db", N: 7})
	report, err := Verify(path)
	if err == nil && len(report.Damage) == 0 {
		t.Error("verify finds nothing wrong")
	}
	dest := filepath.Join(dir(t), "rescued.db")
	saved, err := Rescue(path, dest, RescueOptions{Now: epoch})
	if err != nil {
		t.Fatal(err)
	}
	if saved.Unreadable == 0 || saved.Records+saved.LostCount != saved.Last {
		t.Errorf("%+v", saved)
	}
	mustBeWhole(t, dest)
	mustHoldBut(t, open(t, dest, Options{}), 1, saved.Last, saved.Lost)
}

// Nothing half-made stays behind on a full card: no backup, no rescued store.
func TestFullCardGetsNoHalves(t *testing.T) {
	f, s, path := card(t)
	copied := filepath.Join(f.Dir, "copy.db")
	f.Fill()
	if err := s.BackupFile(copied); err == nil || !noRoom(err) {
		t.Errorf("backup: %v", err)
	}
	if _, err := Rescue(path, copied, RescueOptions{Now: epoch}); err == nil {
		t.Error("a rescued store found room, although the agent has the file open")
	}
	last := s.Last()
	closed(t, s)
	if _, err := Rescue(path, copied, RescueOptions{Now: epoch}); err == nil || !noRoom(err) {
		t.Errorf("rescue: %v", err)
	}
	if names, _ := filepath.Glob(filepath.Join(f.Dir, "*")); len(names) != 1 {
		t.Errorf("left behind: %v", names)
	}
	f.Mend()
	mustHold(t, open(t, path, Options{}), 1, last)
}

// A sync that takes its time holds nobody up who reads.
func TestSlowSync(t *testing.T) {
	f, s, _ := card(t)
	release := f.HoldSync()
	done := make(chan error)
	go func() { done <- s.Append(Batch{Records: shift(s.Last(), 1)}) }()
	f.Held()
	mustHold(t, s, 1, 20)
	if events, err := s.Unsent(0, 5); err != nil || len(events) != 5 {
		t.Errorf("%d events, %v", len(events), err)
	}
	if _, why := s.Trouble(); why != nil {
		t.Error(why)
	}
	select {
	case err := <-done:
		t.Errorf("acknowledged before the card did: %v", err)
	default:
	}
	release()
	if err := <-done; err != nil {
		t.Error(err)
	}
	mustHold(t, s, 1, 21)
}
