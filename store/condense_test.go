package store

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
)

// Orders are condensed once each, are found as before, and what is kept anew
// counts; lessons stay.
func TestCondense(t *testing.T) {
	s := open(t, place(t), Options{})
	large := func(n int) []byte { return []byte(fmt.Sprintf("%d %s", n, strings.Repeat("x", 4000))) }
	orders := map[string][]byte{"\x00lessons": large(-1)}
	for n := range 100 {
		orders[fmt.Sprintf("A-%04d", n)] = large(n)
	}
	fill(t, s, 10, 10)
	if err := s.Append(Batch{State: []byte("s"), Orders: orders}); err != nil {
		t.Fatal(err)
	}
	calls := 0
	less := func(_ string, kept []byte) []byte {
		if calls++; len(kept) < 100 || bytes.HasPrefix(kept, []byte("7 ")) {
			return nil
		}
		return kept[:bytes.IndexByte(kept, ' ')]
	}
	pass := func() (rounds int) {
		for after, first := "", true; first || after != ""; first = false {
			var err error
			if after, err = s.Condense(after, 16, less); err != nil {
				t.Fatal(err)
			}
			rounds++
		}
		return rounds
	}
	if rounds := pass(); rounds != 7 || calls != 100 {
		t.Errorf("%d calls in %d rounds, want 100 in 7", calls, rounds)
	}
	if pass(); calls != 101 {
		t.Errorf("%d calls, want one more for the order that stayed", calls)
	}
	want := func(id, kept string) {
		t.Helper()
		if got, err := s.Order(id); err != nil || string(got) != kept {
			t.Errorf("%q: %.40q, %v; want %.40q", id, got, err, kept)
		}
	}
	want("A-0042", "42")
	want("A-0007", string(large(7)))
	want("\x00lessons", string(large(-1)))
	want("A-1000", "")
	if err := s.Append(Batch{State: []byte("t"), Orders: map[string][]byte{"A-0042": large(43)}}); err != nil {
		t.Fatal(err)
	}
	want("A-0042", string(large(43)))
	s = reopen(t, s)
	want("A-0042", string(large(43)))
	want("A-0041", "41")
	closed(t, s)
	r, err := Verify(s.path)
	if err != nil || r.Orders != 100 {
		t.Errorf("%d orders, %v", r.Orders, err)
	}
}

// The room of what was condensed is used again: ten thousand orders, condensed as
// they go, take no more than a few bytes each.
func TestCondensedRoomIsUsedAgain(t *testing.T) {
	s := open(t, place(t), Options{})
	const rounds, each = 100, 50
	for round := range rounds {
		fill(t, s, 1, 1)
		orders := map[string][]byte{}
		for n := range each {
			orders[fmt.Sprintf("A-%06d", round*each+n)] = bytes.Repeat([]byte{1}, 5000)
		}
		if err := s.Append(Batch{State: []byte("s"), Orders: orders}); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Condense("", 1000, func(_ string, kept []byte) []byte { return kept[:200] }); err != nil {
			t.Fatal(err)
		}
	}
	closed(t, s)
	info, err := os.Stat(s.path)
	if err != nil {
		t.Fatal(err)
	}
	if most := int64(ringBytes + 2<<20 + rounds*each*400); info.Size() > most {
		t.Errorf("the file has %d bytes, want at most %d", info.Size(), most)
	}
}

// An order that waits, newer than in bbolt's pages, is left alone.
func TestCondenseLeavesWhatWaits(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 10, 10)
	if err := s.Append(Batch{State: []byte("s"), Orders: map[string][]byte{"A-1": []byte("old")}}); err != nil {
		t.Fatal(err)
	}
	s.mu.Lock()
	s.waiting.orders = map[string][]byte{"A-1": []byte("new")}
	s.mu.Unlock()
	if _, err := s.Condense("", 10, func(string, []byte) []byte { return []byte("less") }); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Order("A-1"); err != nil || string(got) != "new" {
		t.Errorf("%q, %v", got, err)
	}
	s.mu.Lock()
	s.waiting.orders = nil
	s.mu.Unlock()
	if got, err := s.Order("A-1"); err != nil || string(got) != "old" {
		t.Errorf("%q, %v", got, err)
	}
}

// Nor is one that is kept anew while it is being condensed.
func TestCondenseMeetsANewerOrder(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 10, 10)
	if err := s.Append(Batch{State: []byte("s"), Orders: map[string][]byte{"A-1": []byte("old"), "A-2": []byte("old")}}); err != nil {
		t.Fatal(err)
	}
	_, err := s.Condense("", 10, func(id string, _ []byte) []byte {
		if id == "A-1" {
			if err := s.Append(Batch{State: []byte("t"), Orders: map[string][]byte{"A-1": []byte("new")}}); err != nil {
				t.Error(err)
			}
		}
		return []byte("less")
	})
	if err != nil {
		t.Fatal(err)
	}
	for id, want := range map[string]string{"A-1": "new", "A-2": "less"} {
		if got, err := s.Order(id); err != nil || string(got) != want {
			t.Errorf("%s: %q, %v; want %q", id, got, err, want)
		}
	}
}
