package store

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"benchtally/agent/record"
)

func TestPruneTouchesOnlyWhatWasSent(t *testing.T) {
	always := shiftRecord(10_000).At
	for _, row := range []struct {
		name         string
		sent, folded uint64 // folded 0: no state kept
		resend       uint64 // 0: none asked for
		before       time.Time
		most         int
		first        uint64 // oldest record left
	}{
		{"nothing sent", 0, 500, 0, always, 1000, 1},
		{"sent in part", 200, 500, 0, always, 1000, 201},
		{"no more than asked", 200, 500, 0, always, 50, 51},
		{"nothing asked", 200, 500, 0, always, 0, 1},
		{"no state kept", 500, 0, 0, always, 1000, 1},
		{"folded in part", 500, 120, 0, always, 1000, 121},
		{"asked for again", 500, 500, 77, always, 1000, 77},
		{"as old as that", 500, 500, 0, shiftRecord(90).At, 1000, 90},
		{"nothing that old", 500, 500, 0, epoch, 1000, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := open(t, place(t), Options{})
			if row.folded > 0 {
				fill(t, s, row.folded, 10)
				if err := s.Append(Batch{State: []byte("folded")}); err != nil {
					t.Fatal(err)
				}
			}
			fill(t, s, 500-row.folded, 10)
			if err := s.Sent(row.sent); err != nil {
				t.Fatal(err)
			}
			if row.resend > 0 {
				if err := s.Resend(row.resend, row.resend); err != nil {
					t.Fatal(err)
				}
			}
			n, err := s.Prune(row.before, row.most)
			if want := int(row.first - 1); n != want || err != nil {
				t.Errorf("pruned %d, %v; want %d", n, err, want)
			}
			s = reopen(t, s)
			mustHold(t, s, row.first, 500)
			if s.SentSeq() != row.sent {
				t.Errorf("cursor at %d, want %d", s.SentSeq(), row.sent)
			}
		})
	}
}

// Even when everything was sent and is old, no seq comes twice.
func TestPruneAllKeepsCounting(t *testing.T) {
	for _, size := range []uint64{1, 40} { // in the tail, or past it
		t.Run(fmt.Sprint(size, " at a time"), func(t *testing.T) {
			s := open(t, place(t), Options{})
			for round := range uint64(5) {
				fill(t, s, 40, size)
				if err := s.Append(Batch{State: []byte("folded")}); err != nil {
					t.Fatal(err)
				}
				if err := s.Sent(s.Last()); err != nil {
					t.Fatal(err)
				}
				if _, err := s.Prune(shiftRecord(10_000).At, 1000); err != nil {
					t.Fatal(err)
				}
				s = reopen(t, s)
				if want := 40 * (round + 1); s.Last() != want {
					t.Fatalf("last %d, want %d", s.Last(), want)
				}
				if n := len(s.runs(t)); n > 2 {
					t.Errorf("%d runs left of records that are gone", n)
				}
			}
		})
	}
}

// A record of unknown age goes with an older neighbour and is no obstacle.
func TestPrunePassesDamagedRecords(t *testing.T) {
	s := open(t, dir(t)+"/benchtally.db", Options{})
	fill(t, s, 100, 50)
	if err := errors.Join(s.Append(Batch{State: []byte("s")}), s.Sent(100)); err != nil {
		t.Fatal(err)
	}
	flip(t, s, 1)
	flip(t, s, 30)
	for _, row := range []struct{ before, want uint64 }{{2, 0}, {30, 29}, {31, 0}, {33, 3}} {
		if n, err := s.Prune(shiftRecord(row.before).At, 1000); n != int(row.want) || err != nil {
			t.Errorf("before record %d: pruned %d, %v; want %d", row.before, n, err, row.want)
		}
	}
}

// Times of a clock that nothing kept right decide neither that what comes behind
// them stays nor that what comes before them goes.
func TestPruneByWrongClocks(t *testing.T) {
	at := func(day int) time.Time { return epoch.AddDate(0, 0, day) }
	const unset = "unset"
	for _, row := range []struct {
		name  string
		at    []int // days of the records
		clock []string
		want  int // pruned, of those before day 100
	}{
		{"kept right", []int{1, 2, 99, 100, 101}, []string{"", "", "", "", ""}, 3},
		{"years ahead for a while", []int{1, 2000, 2001, 3, 101}, []string{"", unset, unset, "", ""}, 4},
		{"years ahead at last", []int{1, 2000, 2001}, []string{"", unset, unset}, 1},
		{"years behind among what is new", []int{1, 101, -9000, 102, 103}, []string{"", "", unset, "", ""}, 1},
		{"years behind among what is old", []int{1, -9000, 3, 101}, []string{"", unset, "", ""}, 3},
		{"never kept right", []int{1, 2, 3, 101, 102}, []string{unset, unset, unset, unset, unset}, 3},
		{"never kept right, and once years behind", []int{1, 2, 101, -9000, 102}, []string{unset, unset, unset, unset, unset}, 2},
	} {
		s := open(t, place(t), Options{})
		var all []record.Record
		for i, day := range row.at {
			all = append(all, record.Record{Seq: uint64(i + 1), At: at(day), Kind: record.Set, Clock: row.clock[i]})
		}
		for range 100 { // past the tail
			all = append(all, record.Record{Seq: uint64(len(all) + 1), At: at(103), Kind: record.Set})
		}
		if err := s.Append(Batch{Records: all, State: []byte("folded")}); err != nil {
			t.Fatal(err)
		}
		if err := s.Sent(s.Last()); err != nil {
			t.Fatal(err)
		}
		if n, err := s.Prune(at(100), 1000); n != row.want || err != nil {
			t.Errorf("%s: pruned %d, %v; want %d", row.name, n, err, row.want)
		}
	}
}

// Room made by pruning is used again: the file stops growing.
func TestPrunedRoomIsUsedAgain(t *testing.T) {
	s := open(t, place(t), Options{})
	var size int64
	for round := range 12 {
		fill(t, s, 2000, 10)
		if err := errors.Join(s.Append(Batch{State: []byte("s")}), s.Sent(s.Last())); err != nil {
			t.Fatal(err)
		}
		for range 4 {
			if n, err := s.Prune(shiftRecord(100_000).At, 500); n > 500 || err != nil {
				t.Fatal(n, err)
			}
		}
		info, err := s.file.Stat()
		if err != nil {
			t.Fatal(err)
		}
		if round == 3 {
			size = info.Size()
		} else if round > 3 && info.Size() > size {
			t.Fatalf("round %d: %d bytes, want no more than the %d of round 3", round, info.Size(), size)
		}
	}
}
