package store

import (
	"math/rand/v2"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// Within bounds exactly the days asked for, however the clock jumps, from bbolt's
// pages and from the journal.
func TestWithin(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	s := open(t, place(t), Options{})
	day := func(n int) time.Time { return time.Date(2028, 2, 1+n, 0, 0, 0, 0, time.UTC) }
	var at []time.Time // of seq i+1
	for d := range 60 {
		for range 40 {
			when := day(d).Add(time.Duration(len(at)%40) * 30 * time.Minute)
			switch {
			case d == 20: // a card without a clock
				when = time.Date(1970, 1, 1, 0, 0, len(at), 0, time.UTC)
			case d == 30 && len(at)%7 == 0: // and before there was time
				when = time.Date(1969, 12, 31, 23, 59, 59, 999_000_000, time.UTC)
			}
			at = append(at, when)
		}
		batch := Batch{}
		for seq := s.Last() + 1; seq <= uint64(len(at)); seq++ {
			batch.Records = append(batch.Records, record.Record{Seq: seq, At: at[seq-1], Kind: record.Retract})
		}
		if d%3 == 0 {
			batch.State = []byte("s") // settles the journal
		}
		if err := s.Append(batch); err != nil {
			t.Fatal(err)
		}
		if d == 40 {
			s = reopen(t, s)
		}
	}
	for range 300 {
		since, until := day(random.IntN(70)-5), day(random.IntN(70)-5)
		since, until = since.Add(time.Duration(random.IntN(24))*time.Hour), until.Add(time.Duration(random.IntN(24))*time.Hour)
		switch random.IntN(6) {
		case 0:
			since = time.Time{}
		case 1:
			until = time.Time{}
		case 2:
			since = time.Date(1969, 12, 31, 20, 0, 0, 0, time.UTC)
		}
		from, to, err := s.Within(since, until)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range at {
			if inside := (since.IsZero() || !a.Before(since)) && (until.IsZero() || a.Before(until)); inside && (uint64(i+1) < from || uint64(i+1) > to) {
				t.Fatalf("record %d of %v lies outside of %d to %d, since %v until %v", i+1, a, from, to, since, until)
			}
		}
	}
	// A day in the middle is found without reading the others.
	if from, to, err := s.Within(day(25), day(26).Add(-time.Second)); err != nil || from != 25*40+1 || to < 26*40 || to > 26*40+2*60*40 {
		t.Errorf("%d to %d, %v", from, to, err)
	}
	s = reopen(t, s) // nothing waits any more
	if from, to, err := s.Within(day(25), day(26).Add(-time.Second)); err != nil || from != 25*40+1 || to != 26*40 {
		t.Errorf("%d to %d, %v; want %d to %d", from, to, err, 25*40+1, 26*40)
	}
	if from, to, err := s.Within(day(90), time.Time{}); err != nil || from <= to {
		t.Errorf("%d to %d, %v; want none", from, to, err)
	}
}

// A store that has records from before there was a table looks at all of those.
func TestWithinOfAnOldStore(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 100, 10)
	s = reopen(t, s)
	err := s.db.Update(func(tx *bbolt.Tx) error {
		rest := tx.Bucket(bucketRest)
		if err := rest.Delete(keyDays); err != nil {
			return err
		}
		return rest.Delete(dayKey(dayOf(shiftRecord(1).At)))
	})
	if err != nil {
		t.Fatal(err)
	}
	if from, to, err := s.Within(shiftRecord(50).At, time.Time{}); err != nil || from != 1 || to != 100 {
		t.Errorf("%d to %d, %v; want all", from, to, err)
	}
	fill(t, s, 100, 10)
	s = reopen(t, s)
	if from, to, err := s.Within(shiftRecord(150).At, time.Time{}); err != nil || from != 1 || to != 200 {
		t.Errorf("%d to %d, %v; want all", from, to, err)
	}
}

// Days whose records are gone go too.
func TestPruneLetsDaysGo(t *testing.T) {
	s := open(t, place(t), Options{})
	start := time.Date(2028, 1, 1, 0, 0, 0, 0, time.UTC)
	batch := Batch{State: []byte("s")}
	for seq := range uint64(300) {
		batch.Records = append(batch.Records, record.Record{Seq: seq + 1, At: start.AddDate(0, 0, int(seq)), Kind: record.Retract})
	}
	if err := s.Append(batch); err != nil {
		t.Fatal(err)
	}
	if err := s.Sent(300); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Prune(start.AddDate(0, 0, 200), 1000); n != 200 || err != nil {
		t.Fatal(n, err)
	}
	days := 0
	err := s.db.View(func(tx *bbolt.Tx) error {
		return tx.Bucket(bucketRest).ForEach(func(k, _ []byte) error {
			if len(k) == len(prefixDay)+4 && string(k[:len(prefixDay)]) == string(prefixDay) {
				days++
			}
			return nil
		})
	})
	if err != nil || days != 100 {
		t.Errorf("%d days are left, want 100; %v", days, err)
	}
}
