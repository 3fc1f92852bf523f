package store

import (
	"errors"
	"os"
	"reflect"
	"strings"
	"testing"

	"go.etcd.io/bbolt"
)

// A card may lose its last commit. The seq comes twice then, the id does not.
func TestLostCommitGivesNoIDTwice(t *testing.T) {
	path := place(t)
	s := open(t, path, Options{})
	fill(t, s, 3, 1)
	lost, err := s.Unsent(2, 1)
	if err != nil || len(lost) != 1 {
		t.Fatal(lost, err)
	}
	path = cut(t, s)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	clear(b[int(s.ring.base)+int(s.next.pos-1)*pageSize:][:pageSize])
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}

	s = open(t, path, Options{})
	if s.Last() != 2 {
		t.Fatalf("last %d, want the commit of record 3 gone", s.Last())
	}
	fill(t, s, 1, 1)
	events, err := s.Unsent(0, 9)
	if err != nil || len(events) != 3 {
		t.Fatal(events, err)
	}
	if events[2].Seq != 3 || events[2].ID == lost[0].ID {
		t.Errorf("event %d has the id %s, which was used for the lost one", events[2].Seq, events[2].ID)
	}
	if want := s.ID() + "-" + s.Run() + "-3"; events[2].ID != want {
		t.Errorf("id %s, want %s", events[2].ID, want)
	}
	first := strings.TrimSuffix(lost[0].ID, "3") + "1"
	if events[0].ID != first {
		t.Errorf("id %s of record 1, want %s as before", events[0].ID, first)
	}
}

// zeroNewerRoot overwrites the root page of the last commit.
func zeroNewerRoot(t *testing.T, path string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	m0, err0 := readMeta(b)
	m1, err1 := readMeta(b[pageSize:])
	if err := errors.Join(err0, err1); err != nil {
		t.Fatal(err)
	}
	page := 0
	if m1.txid > m0.txid {
		page = 1
	}
	clear(b[page*pageSize:][:pageSize])
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}
}

func TestIDsNameTheRun(t *testing.T) {
	s := open(t, place(t), Options{})
	var want []string
	for range 4 {
		s = reopen(t, s) // a run without records leaves no trace
		s = reopen(t, s)
		for range 3 {
			fill(t, s, 1, 1)
			want = append(want, s.ID()+"-"+s.Run()+"-"+string(rune('0'+s.Last()%10)))
		}
	}
	for _, most := range []int{1, 2, 5, 100} {
		var got []string
		for after := uint64(0); len(got) < 9; {
			events, err := s.Unsent(after, most)
			if err != nil || len(events) == 0 {
				t.Fatal(events, err)
			}
			for _, e := range events {
				if e.Seq > 9 {
					break
				}
				got = append(got, e.ID)
				after = e.Seq
			}
		}
		if !reflect.DeepEqual(got, want[:9]) {
			t.Errorf("%d at a time:\n got %q\nwant %q", most, got, want[:9])
		}
	}
	if r := s.runs(t); len(r) != 4 {
		t.Errorf("run table %v, want 4 runs", r)
	}
}

// runs are the first seqs in the run table.
func (s *Store) runs(t *testing.T) (first []uint64) {
	t.Helper()
	if err := s.view(func(tx *bbolt.Tx, w *waiting) error {
		err := tx.Bucket(bucketRest).Bucket(bucketRuns).ForEach(func(k, _ []byte) error {
			seq, _ := keySeq(k)
			first = append(first, seq)
			return nil
		})
		for _, r := range w.runs {
			first = append(first, r.first)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return first
}
