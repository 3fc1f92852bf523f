package crimp

import (
	"encoding/json"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// habits are intervals as a shop may have them.
var habits = Intervals{Lubricate: 50, Teardown: 1000, Months: 6}

// usedCage is a cage first seen on monday, ten strokes on each of its first days.
func usedCage(days int) *Cage {
	c := NewCage(monday)
	for n := range days {
		for i := range 10 {
			c.Stroke(on(n, 7+float64(i)/2))
		}
	}
	return c
}

func TestFallsDue(t *testing.T) {
	half := AddMonths(monday, 6)
	for _, c := range []struct {
		name    string
		work    Work
		strokes int
		iv      Intervals
		now     time.Time
		want    bool
	}{
		{"lubricate, 49", Lubricate, 49, habits, monday, false},
		{"lubricate, 50", Lubricate, 50, habits, monday, true},
		{"lubricate, time is nothing", Lubricate, 0, habits, half, false},
		{"lubricate, switched off", Lubricate, 9999, Intervals{Teardown: 1, Months: 1}, half, false},
		{"tear-down, 999", Teardown, 999, habits, half.Add(-1), false},
		{"tear-down, 1000", Teardown, 1000, habits, monday, true},
		{"tear-down, half a year", Teardown, 0, habits, half, true},
		{"tear-down, by strokes only", Teardown, 0, Intervals{Teardown: 1000}, half.AddDate(9, 0, 0), false},
		{"tear-down, by time only", Teardown, 9999, Intervals{Months: 6}, half.Add(-1), false},
		{"lubricate, each stroke, none yet", Lubricate, 0, Intervals{Lubricate: 1}, monday, false},
		{"lubricate, each stroke", Lubricate, 1, Intervals{Lubricate: 1}, monday, true},
		{"tear-down, each month, not yet", Teardown, 0, Intervals{Months: 1}, AddMonths(monday, 1).Add(-1), false},
		{"tear-down, each month", Teardown, 0, Intervals{Months: 1}, AddMonths(monday, 1), true},
		{"clean", Clean, 9999, habits, half, false},
		{"oil", Oil, 9999, habits, half, false},
	} {
		cage := NewCage(monday)
		for range c.strokes {
			cage.Stroke(monday)
		}
		if got := cage.FallsDue(c.work, c.iv, c.now); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
		if since := cage.Since(c.work); since != nil {
			if since.Due = true; cage.FallsDue(c.work, c.iv, c.now) {
				t.Errorf("%s: falls due although it is", c.name)
			}
		}
	}
}

// TestDoneAndFound: a work that is done begins anew alone; how the cage was found
// stays until it is looked at again.
func TestDoneAndFound(t *testing.T) {
	c := usedCage(2)
	c.TornDown.Due = true
	c.Inspect(Worn)
	c.Done(Lubricate, on(2, 0))
	if c.Lubricated != (Since{Moment: Moment{At: on(2, 0)}}) || c.TornDown != (Since{Strokes: 20, Moment: Moment{At: monday}, Due: true}) || c.Cleaned.Strokes != 20 || c.Strokes != 20 {
		t.Errorf("after lubricating: %+v", c)
	}
	c.Done(Teardown, on(3, 0))
	if c.TornDown != (Since{Moment: Moment{At: on(3, 0)}}) || c.Found != Worn {
		t.Errorf("after tearing down: %+v", c)
	}
	if c.Inspect(Out); c.Found != Out {
		t.Errorf("found %q", c.Found)
	}
}

func TestDueIn(t *testing.T) {
	leap := NewCage(time.Date(2027, 8, 31, 12, 0, 0, 0, time.UTC)) // due on 29 February 2028, by noon
	in2028 := func(month time.Month, day, hour int) time.Time {
		return time.Date(2028, month, day, hour, 0, 0, 0, time.UTC)
	}
	with := func(c *Cage, done ...Work) *Cage {
		for _, w := range done {
			c.Done(w, on(10, 0))
		}
		return c
	}
	due := usedCage(10)
	due.TornDown.Due = true
	for _, c := range []struct {
		name  string
		cage  *Cage
		work  Work
		iv    Intervals
		now   time.Time
		days  int
		known bool
	}{
		{"lubricate, fifty strokes at ten a day", with(usedCage(10), Lubricate), Lubricate, habits, on(10, 1), 4, true},
		{"lubricate, each stroke", with(usedCage(10), Lubricate), Lubricate, Intervals{Lubricate: 1}, on(10, 1), 0, true},
		{"lubricate, due already", usedCage(10), Lubricate, habits, on(10, 1), 0, true},
		{"lubricate, no pace yet", usedCage(4), Lubricate, habits, on(4, 1), 0, false},
		{"lubricate, switched off", usedCage(10), Lubricate, Intervals{Teardown: 1000, Months: 6}, on(10, 1), 0, false},
		{"tear-down, by strokes", usedCage(10), Teardown, habits, on(10, 1), 89, true},
		{"tear-down, by time", usedCage(10), Teardown, Intervals{Teardown: 10_000, Months: 6}, on(10, 1), 174, true}, // 12 March to 2 September 2026
		{"tear-down, one day by strokes", usedCage(10), Teardown, Intervals{Teardown: 111, Months: 6}, on(10, 1), 1, true},
		{"tear-down, by time only", usedCage(10), Teardown, Intervals{Months: 6}, on(10, 1), 174, true},
		{"tear-down, by strokes only", usedCage(10), Teardown, Intervals{Teardown: 10_000}, on(10, 1), 989, true},
		{"tear-down, by strokes only, no pace yet", usedCage(4), Teardown, Intervals{Teardown: 10_000}, on(4, 1), 0, false},
		{"tear-down, no pace yet", usedCage(4), Teardown, habits, on(4, 1), 180, true},
		{"tear-down, marked", due, Teardown, habits, on(10, 1), 0, true},
		{"tear-down, marked, nothing known", due, Teardown, Intervals{}, on(10, 1), 0, true},
		{"tear-down, switched off", usedCage(10), Teardown, Intervals{Lubricate: 50}, on(10, 1), 0, false},
		{"clean has no interval", usedCage(10), Clean, habits, on(10, 1), 0, false},
		{"oil is the press's", usedCage(10), Oil, habits, on(10, 1), 0, false},
		{"a leap day to come", leap, Teardown, habits, in2028(2, 20, 23), 9, true},
		{"the day before", leap, Teardown, habits, in2028(2, 28, 23), 1, true},
		{"later today", leap, Teardown, habits, in2028(2, 29, 11), 0, true},
		{"now", leap, Teardown, habits, in2028(2, 29, 12), 0, true},
		{"over it", leap, Teardown, habits, in2028(3, 31, 12), 0, true},
	} {
		if days, known := c.cage.DueIn(c.work, c.iv, c.now); days != c.days || known != c.known {
			t.Errorf("%s: in %d days, %v, want %d, %v", c.name, days, known, c.days, c.known)
		}
	}
}

// TestDueInIsTheDay: at a constant pace the forecast names, from the sixth day on, the
// very day on which the work falls due, whichever of strokes and time is first.
func TestDueInIsTheDay(t *testing.T) {
	random := rand.New(rand.NewPCG(50, 6))
	for range 100 {
		iv := Intervals{Lubricate: 1 + random.IntN(400), Teardown: 1 + random.IntN(2000), Months: 1 + random.IntN(3)}
		perDay := 1 + random.IntN(30)
		begin := monday.AddDate(0, 0, random.IntN(1500))
		zone := time.FixedZone("", random.IntN(26*3600)-12*3600)
		c := NewCage(begin.In(zone))
		forecast := map[Work]int{} // the day, as it was told first
		for n := 0; n < 200; n++ {
			for i := range perDay {
				at := begin.AddDate(0, 0, n).Add(time.Duration(i) * 12 * time.Hour / time.Duration(perDay))
				c.Stroke(at.In(zone))
				for _, w := range []Work{Lubricate, Teardown} {
					told, open := forecast[w]
					if c.FallsDue(w, iv, at) {
						if open && told != day(at) {
							t.Fatalf("%d a day, %+v: %s was told for day %d, and falls due on %d", perDay, iv, w, told, day(at))
						}
						c.Done(w, at)
						delete(forecast, w)
						continue
					}
					in, known := c.DueIn(w, iv, at)
					if !known || n < paceSpan {
						continue // until there is a pace only the calendar is told
					}
					if open && told != day(at)+in {
						t.Fatalf("%d a day, %+v: %s was told for day %d, and now for %d", perDay, iv, w, told, day(at)+in)
					}
					forecast[w] = day(at) + in
				}
			}
		}
	}
}

// TestCageZones: in which zone the time of a work was written does not move the day
// on which it is due again; 31 August in one is 1 September in another.
func TestCageZones(t *testing.T) {
	at := time.Date(2026, 8, 31, 23, 0, 0, 0, time.UTC)
	limit := time.Date(2027, 2, 28, 23, 0, 0, 0, time.UTC)
	for _, hours := range []int{-11, 0, 2, 13} {
		zone := time.FixedZone("", hours*3600)
		c := NewCage(at.In(zone))
		if c.FallsDue(Teardown, habits, limit.Add(-1).In(zone)) || !c.FallsDue(Teardown, habits, limit.In(zone)) {
			t.Errorf("at %+d h a tear-down is not due at %s", hours, limit)
		}
		if days, known := c.DueIn(Teardown, habits, limit.AddDate(0, 0, -9).In(zone)); days != 9 || !known {
			t.Errorf("at %+d h it is due in %d days, %v, want 9", hours, days, known)
		}
	}
}

// TestCageJSON: a cage that was kept before paces were is read, and one without a
// pace is written as it was.
func TestCageJSON(t *testing.T) {
	const kept = `{"strokes":7,"lubricated":{"strokes":7,"at":"2026-03-02T00:00:00Z"},` +
		`"cleaned":{"strokes":7,"at":"2026-03-02T00:00:00Z"},"torn_down":{"strokes":7,"at":"2026-03-02T00:00:00Z","due":true}}`
	var c Cage
	if err := json.Unmarshal([]byte(kept), &c); err != nil {
		t.Fatal(err)
	}
	if b, err := json.Marshal(&c); err != nil || string(b) != kept {
		t.Errorf("%s, %v, want %s", b, err, kept)
	}
	if days, known := c.DueIn(Teardown, habits, monday); days != 0 || !known {
		t.Errorf("due in %d days, %v", days, known)
	}
	c.Stroke(monday)
	c.Inspect(Good)
	b, err := json.Marshal(&c)
	if want := `"due":true},"found":"good","pace":{"from":20514,"days":[[20514,1]]}}`; err != nil || !strings.HasSuffix(string(b), want) {
		t.Errorf("%s, %v, want %s at its end", b, err, want)
	}
	var again Cage
	if err := json.Unmarshal(b, &again); err != nil || again.Pace.last() != c.Pace.last() || again.Found != Good || again.Strokes != 8 || again.TornDown.Strokes != 8 {
		t.Errorf("%+v, %v, want %+v", again, err, c)
	}
}

// TestMonthsByProperty: so many months later it is the same time of the same day, or
// of the month's last day where it has no such day; and a later day is never due
// before an earlier one.
func TestMonthsByProperty(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 2))
	for range 100_000 {
		at := time.Date(1970+random.IntN(200), time.Month(1+random.IntN(12)), 1+random.IntN(31), random.IntN(24), random.IntN(60), random.IntN(60), random.IntN(1e9), time.UTC)
		n := 1 + random.IntN(30)
		got := AddMonths(at, n)
		month := time.Date(at.Year(), at.Month()+time.Month(n), 1, 0, 0, 0, 0, time.UTC)
		last := month.AddDate(0, 1, -1).Day()
		want := month.AddDate(0, 0, min(at.Day(), last)-1).Add(at.Sub(at.Truncate(24 * time.Hour)))
		if !got.Equal(want) {
			t.Fatalf("%d months from %s: %s, want %s", n, at, got, want)
		}
		if next := AddMonths(at.AddDate(0, 0, 1), n); day(next) < day(got) {
			t.Fatalf("%d months from %s: %s, and a day later %s", n, at, got, next)
		}
	}
}
