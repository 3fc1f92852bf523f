package record

import (
	"math/rand/v2"
	"testing"
	"time"
)

func TestTimes(t *testing.T) {
	east := time.FixedZone("east", 5*3600+1800)
	for _, c := range []struct {
		name string
		at   time.Time
		want string
	}{
		{"UTC", time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC), "2026-03-02T06:00:00.000000Z"},
		{"another zone", time.Date(2026, 3, 2, 1, 0, 0, 0, east), "2026-03-01T19:30:00.000000Z"},
		{"finer than a microsecond", time.Date(2026, 12, 31, 23, 59, 59, 999_999_999, time.UTC), "2026-12-31T23:59:59.999999Z"},
		{"a clock never set", time.Unix(0, 0), "1970-01-01T00:00:00.000000Z"},
		{"no time", time.Time{}, "0001-01-01T00:00:00.000000Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := Record{Seq: 1, At: c.at, Kind: Load}
			want := `{"seq":1,"at":"` + c.want + `","kind":"load"}`
			if got := string(r.AppendJSON(nil)); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
			r.At = Stamp(c.at)
			if got := string(r.AppendJSON(nil)); got != want || r.At.Location() != time.UTC {
				t.Errorf("stamped: got %s in %s, want %s", got, r.At.Location(), want)
			}
		})
	}
}

// TestTimesAsFormatted: in all years that RFC 3339 can write, and beyond them,
// the time is as the standard library formats it.
func TestTimesAsFormatted(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 1))
	check := func(at time.Time) {
		t.Helper()
		if got, want := string(appendTime(nil, at)), at.UTC().Format(TimeLayout); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
	for year := -1; year <= 10_001; year++ {
		check(time.Date(year, 2, 28, 23, 59, 59, 999_999_999, time.UTC).Add(time.Duration(rnd.Int64N(int64(48 * time.Hour)))))
		check(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rnd.Int64N(int64(365 * 24 * time.Hour)))))
	}
}
