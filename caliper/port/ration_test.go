package port

import (
	"testing"
	"time"
)

func TestRation(t *testing.T) {
	var r Ration
	took := func(now time.Duration, tries int) (n int) {
		for range tries {
			if r.Take(now) {
				n++
			}
		}
		return n
	}
	for _, row := range []struct {
		at          time.Duration
		tries, want int
	}{
		{time.Hour, 100, 60},
		{time.Hour + 59*time.Second, 10, 0},
		{time.Hour + time.Minute, 10, 1},
		{time.Hour + 150*time.Second, 10, 1},
		{time.Hour + 180*time.Second, 10, 1},
		{3 * time.Hour, 100, 60},
		{time.Second, 10, 0}, // set back
		{time.Second + time.Minute, 10, 1},
	} {
		if got := took(row.at, row.tries); got != row.want {
			t.Errorf("at %v: %d of %d, want %d", row.at, got, row.tries, row.want)
		}
		if !r.Valid(row.at) {
			t.Errorf("at %v: %+v is not valid", row.at, r)
		}
	}
	// A day of tries each millisecond.
	r, day := Ration{}, 0
	for at := time.Duration(0); at < 24*time.Hour; at += 100 * time.Millisecond {
		day += took(at, 1)
	}
	if day != 60+24*60-1 {
		t.Errorf("%d in a day", day)
	}
}
