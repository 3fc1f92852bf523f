package store

import (
	"fmt"
	"strings"
	"testing"
)

// resends are the seqs to be sent again next.
func resends(t *testing.T, s *Store, most int) string {
	t.Helper()
	events, err := s.Resends(most)
	if err != nil {
		t.Fatal(err)
	}
	var seqs []uint64
	for _, e := range events {
		seqs = append(seqs, e.Seq)
	}
	return fmt.Sprint(seqs)
}

func TestResendSurvivesReopening(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 60, 5)
	if err := s.Sent(40); err != nil {
		t.Fatal(err)
	}
	ask := func(from, to uint64) {
		t.Helper()
		if err := s.Resend(from, to); err != nil {
			t.Fatal(err)
		}
	}
	done := func(seq uint64) {
		t.Helper()
		if err := s.Resent(seq); err != nil {
			t.Fatal(err)
		}
	}
	want := func(step, seqs string) {
		t.Helper()
		s = reopen(t, s)
		if got := resends(t, s, 4); got != seqs {
			t.Errorf("%s: %s, want %s", step, got, seqs)
		}
	}
	want("nothing asked for", "[]")
	ask(20, 25)
	want("the first request", "[20 21 22 23]")
	done(22)
	want("a part is served", "[23 24 25]")
	ask(10, 30) // overlaps what is in flight
	ask(11, 12) // within one that waits
	want("a later request waits", "[23 24 25]")
	done(9)
	done(26)
	want("a seq outside the request changes nothing", "[23 24 25]")
	done(25)
	want("the second request, whole", "[10 11 12 13]")
	done(29)
	want("its last", "[30]")
	done(30)
	want("all served", "[]")
	if got := s.SentSeq(); got != 40 {
		t.Errorf("sent cursor moved to %d", got)
	}
}

func TestResendRefuses(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 100, 50)
	if err := s.Append(Batch{State: []byte("s")}); err != nil {
		t.Fatal(err)
	}
	if err := s.Sent(100); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Prune(shiftRecord(100).At, 10); n != 10 || err != nil {
		t.Fatal(n, err)
	}
	for _, row := range []struct {
		from, to uint64
		want     string
	}{
		{0, 3, "records 0 to 3 cannot be sent again: the first record is 1"},
		{9, 8, "the first must not be greater than the last"},
		{100, 101, "the last record kept is 100"},
		{10, 20, "the oldest record kept is 11"},
	} {
		if err := s.Resend(row.from, row.to); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%d to %d: %v, want %q", row.from, row.to, err, row.want)
		}
	}
	for i := range uint64(maxRequests) {
		if err := s.Resend(11+i, 50+i); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Resend(80, 90); err == nil || !strings.Contains(err.Error(), "16 requests are waiting") {
		t.Errorf("one too many: %v", err)
	}
	if got := resends(t, s, 2); got != "[11 12]" {
		t.Errorf("to send again: %s", got)
	}
}
