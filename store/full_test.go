package store

import (
	"errors"
	"testing"
)

// TestFull fills a store to the size it may have, and prunes it.
func TestFull(t *testing.T) {
	for _, size := range []int64{1 << 20, 3 << 20} {
		mustSurviveFull(t, place(t), Options{MaxSize: size}, size)
	}
}

// mustSurviveFull appends until the store is full, twice, with pruning between.
func mustSurviveFull(t *testing.T, path string, o Options, size int64) {
	t.Helper()
	s := open(t, path, o)
	var filled [2]uint64
	for round := range filled {
		begin := s.Last()
		err := error(nil)
		for n := 0; err == nil; n++ {
			if n > int(size/100) {
				t.Fatalf("%d bytes: %d records and not full", size, s.Last())
			}
			batch := uint64(40)
			if s.Last()-begin < 200 {
				batch = 1
			}
			err = s.Append(Batch{Records: shift(s.Last(), batch)})
		}
		if !errors.Is(err, ErrFull) {
			t.Fatalf("%d bytes, round %d: %v, want ErrFull", size, round, err)
		}
		if filled[round] = s.Last() - begin; filled[round] < uint64(size/400) {
			t.Fatalf("%d bytes, round %d: full after %d records", size, round, filled[round])
		}
		// All is there, can be read and is still there after a reopening.
		last := s.Last()
		mustHold(t, s, s.first(t), last)
		if events, err := s.Unsent(last-1, 5); len(events) != 1 || err != nil {
			t.Fatalf("%d bytes, round %d: %d unsent events, %v", size, round, len(events), err)
		}
		closed(t, s)
		s = open(t, path, o)
		mustHold(t, s, s.first(t), last)

		// The newest record has the state of all, and makes room for it.
		if err := s.Sent(last); err != nil {
			t.Fatal(err)
		}
		for n, err := 1, error(nil); n > 0; n, err = s.Prune(shiftRecord(1<<40).At, 500) {
			if err != nil {
				t.Fatalf("%d bytes, round %d: prune: %v", size, round, err)
			}
			if n == 1 {
				// Without a state nothing may go: the state must find room in a full store.
				if err := s.Append(Batch{State: []byte("folded")}); err != nil {
					t.Fatalf("%d bytes, round %d: state: %v", size, round, err)
				}
			}
		}
	}
	if filled[1] < filled[0]/2 {
		t.Errorf("%d bytes: %d records fitted at first, then %d", size, filled[0], filled[1])
	}
	fill(t, s, 10, 1)
	closed(t, s)
}
