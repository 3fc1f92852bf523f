package crimp

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// monday is the first day of most tests here, at midnight of UTC.
var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// on is a time on the n-th day from monday on.
func on(n int, hours float64) time.Time {
	return monday.AddDate(0, 0, n).Add(time.Duration(hours * float64(time.Hour)))
}

// strokes counts as many on each of the days, spread over eight hours.
func strokes(p *Pace, perDay int, days ...int) {
	for _, n := range days {
		for i := range perDay {
			p.Stroke(on(n, 7+8*float64(i)/float64(perDay)))
		}
	}
}

// span are the numbers from one to another, both included.
func span(from, to int) []int {
	var days []int
	for n := from; n <= to; n++ {
		days = append(days, n)
	}
	return days
}

// TestDay: days against the calendar, before 1970, over leap days and in any zone.
func TestDay(t *testing.T) {
	for s, want := range map[string]int{
		"1970-01-01T00:00:00Z": 0, "1970-01-01T23:59:59.999999Z": 0, "1969-12-31T23:59:59Z": -1, "1969-12-31T00:00:00Z": -1,
		"1969-12-30T23:59:59.5Z": -2, "2000-03-01T00:00:00Z": 11017, // known of old: 11,016 is 29 February 2000
		"2026-03-02T00:30:00+02:00": day(monday) - 1, "2026-03-01T23:30:00-02:00": day(monday),
	} {
		at, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		if got := day(at); got != want {
			t.Errorf("%s is day %d, want %d", s, got, want)
		}
	}
	random := rand.New(rand.NewPCG(19, 70))
	for range 20_000 {
		at := time.Unix(random.Int64N(8e9)-4e9, random.Int64N(1e9)).UTC()
		y, m, d := at.Date()
		gy, gm, gd := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, day(at)).Date()
		if y != gy || m != gm || d != gd {
			t.Fatalf("%s is day %d, which is %d-%d-%d", at, day(at), gy, gm, gd)
		}
	}
}

// TestPaceForecastIsExact: with as many strokes each day, at any moment after five
// days, the forecast names the very day of each stroke to come.
func TestPaceForecastIsExact(t *testing.T) {
	for _, perDay := range []int{1, 2, 7, 40} {
		var p Pace
		for n := range 60 {
			for i := range perDay {
				at := on(n, 7+8*float64(i)/float64(perDay))
				p.Stroke(at)
				pace, known := p.PerDay(at)
				if want := n >= paceSpan; known != want || known && pace != float64(perDay) {
					t.Fatalf("day %d: %v a day, %v, want %d", n, pace, known, perDay)
				}
				for _, remaining := range []int{1, 2, perDay - 1, perDay, perDay + 1, 50, 1000} {
					if remaining < 1 {
						continue
					}
					made := n*perDay + i + 1
					want := (made+remaining-1)/perDay - n
					got, known := p.Forecast(remaining, at)
					if known != (n >= paceSpan) || known && got != want {
						t.Fatalf("%d a day, day %d, %d made today, %d to come: in %d days, %v, want %d", perDay, n, i+1, remaining, got, known, want)
					}
				}
			}
		}
	}
}

func TestPacePerDay(t *testing.T) {
	week := func(n int) []int { return span(7*n, 7*n+4) } // Monday to Friday
	for _, c := range []struct {
		name  string
		made  func(*Pace)
		at    time.Time
		want  float64
		known bool
	}{
		{"nothing", func(*Pace) {}, on(9, 0), 0, false},
		{"four days", func(p *Pace) { strokes(p, 10, span(0, 3)...) }, on(4, 23.9), 0, false},
		{"five days", func(p *Pace) { strokes(p, 10, span(0, 4)...) }, on(5, 0), 10, true},
		{"today is not over", func(p *Pace) { strokes(p, 10, span(0, 4)...); strokes(p, 3, 5) }, on(5, 12), 10, true},
		{"over yesterday's midnight it is", func(p *Pace) { strokes(p, 10, span(0, 4)...); strokes(p, 4, 5) }, on(6, 0), 9, true},
		{"one day, then none", func(p *Pace) { strokes(p, 10, 0) }, on(5, 0), 2, true},
		{"idle days are counted", func(p *Pace) { strokes(p, 7, week(0)...); strokes(p, 7, week(1)...) }, on(14, 1), 5, true},
		{"the day before the first is not", func(p *Pace) { strokes(p, 12, 3, 4) }, on(9, 1), 4, true},
		{"366 days on the shelf", func(p *Pace) { strokes(p, 183, 0, 0) }, on(366, 1), 1, true},
		{"367 days on the shelf", func(p *Pace) { strokes(p, 183, 0, 0) }, on(367, 1), 0, false},
		{"the clock is behind", func(p *Pace) { strokes(p, 10, span(0, 5)...) }, on(-400, 1), 10, true},
		{"four weeks of use are kept", func(p *Pace) { strokes(p, 90, span(0, 19)...); strokes(p, 10, span(20, 47)...) }, on(48, 1), 10, true},
		{"one day of use less", func(p *Pace) { strokes(p, 38, span(0, 0)...); strokes(p, 10, span(1, 27)...) }, on(28, 1), 11, true},
		{"idle days before what is kept", func(p *Pace) { strokes(p, 90, 0); strokes(p, 20, span(29, 56)...) }, on(57, 1), 10, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			var p Pace
			c.made(&p)
			if got, known := p.PerDay(c.at); got != c.want || known != c.known {
				t.Errorf("%v a day, %v, want %v, %v", got, known, c.want, c.known)
			}
			if _, known := p.Forecast(10, c.at); known != c.known {
				t.Errorf("forecast known: %v, want %v", known, c.known)
			}
		})
	}
}

func TestPaceForecast(t *testing.T) {
	var p Pace
	strokes(&p, 10, span(0, 9)...)
	var rare Pace
	strokes(&rare, 1, 0)
	var busy Pace
	strokes(&busy, 10, span(0, 9)...)
	strokes(&busy, 25, 10)
	for _, c := range []struct {
		name      string
		p         Pace
		remaining int
		at        time.Time
		want      int
	}{
		{"none to come", p, 0, on(10, 1), 0},
		{"none to come, of one stroke in a hundred days", rare, 0, on(100, 1), 0},
		{"fewer than none", p, math.MinInt, on(10, 1), 0},
		{"the tenth is today's last", p, 10, on(10, 1), 0},
		{"the eleventh is tomorrow's first", p, 11, on(10, 1), 1},
		{"a clock that is behind shows the latest day", p, 11, on(3, 1), 2}, // of which ten are made, and nine days are before it
		{"a day that brought more leaves nothing", busy, 1, on(10, 20), 1},
		{"and takes nothing from the next", busy, 10, on(10, 20), 1},
		{"one stroke in a hundred days", rare, 3, on(100, 1), 200},
		{"a hundred years at most", rare, 366, on(100, 1), 36_500},
		{"a hundred years at most, reached", rare, 367, on(100, 1), 36_525},
		{"as many as can be asked for", rare, math.MaxInt, on(366, 1), 36_525},
	} {
		if got, known := c.p.Forecast(c.remaining, c.at); !known || got != c.want {
			t.Errorf("%s: in %d days, %v, want %d", c.name, got, known, c.want)
		}
	}
}

// TestPaceClocks: what a clock that is wrong leaves, in days from monday on.
func TestPaceClocks(t *testing.T) {
	type days = []PaceDay
	for _, c := range []struct {
		name string
		at   []float64 // days of strokes, one after the other
		from int
		days days
	}{
		{"right", []float64{0, 0.5, 1, 3}, 0, days{{0, 2}, {1, 1}, {3, 1}}},
		{"set back over midnight, and on again", []float64{0, 1.01, 0.99, 1.02}, 0, days{{0, 3}, {1, 1}}},
		{"set back within the day", []float64{0, 1.5, 1.2}, 0, days{{0, 1}, {1, 2}}},
		{"behind for some days", []float64{0, 5, 6, 3, 4, 7}, 0, days{{0, 1}, {3, 3}, {4, 1}, {7, 1}}},
		{"behind by the whole", []float64{0, 1, 2, 0}, 0, days{{0, 4}}},
		{"ahead for some days", []float64{0, 1, 201, 202, 2, 3}, 0, days{{0, 1}, {1, 1}, {2, 3}, {3, 1}}},
		{"before all that is kept", []float64{0, 1, -1}, -1, days{{-1, 1}}},
		{"a year and a day on", []float64{0, 366}, 0, days{{0, 1}, {366, 1}}},
		{"and a day more", []float64{0, 1, 368}, 368, days{{368, 1}}},
		{"years ahead, and right again", []float64{0, 1, 4000, 4001, 2, 3}, 2, days{{2, 1}, {3, 1}}},
		{"years behind, and right again", []float64{0, 1, -4000, 2, 3}, 2, days{{2, 1}, {3, 1}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var p Pace
			for _, d := range c.at {
				p.Stroke(on(0, 24*d))
			}
			want := Pace{From: c.from + day(monday)}
			for _, d := range c.days {
				want.Days = append(want.Days, PaceDay{d.Day + day(monday), d.Strokes})
			}
			if !reflect.DeepEqual(p, want) {
				t.Errorf("kept %v, want %v", p, want)
			}
		})
	}
}

// TestPaceHeals: a clock that was wrong for a while, and is right again, leaves the
// pace as if it had never been.
func TestPaceHeals(t *testing.T) {
	for name, shown := range map[string]int{"two days behind": -2, "half a year ahead": 180} {
		var wrong, right Pace
		for n := range 20 {
			strokes(&right, 10, n)
			if n == 8 || n == 9 {
				strokes(&wrong, 10, n+shown)
			} else {
				strokes(&wrong, 10, n)
			}
			if n < 10 {
				continue
			}
			got, known := wrong.PerDay(on(n+1, 1))
			if want, _ := right.PerDay(on(n+1, 1)); !known || got != want {
				t.Errorf("%s: %v a day on day %d, %v, want %v", name, got, n, known, want)
			}
		}
	}
}

// TestPaceIsBounded: whatever the clock does, days rise, each has strokes, no more
// than 28 are kept, and few bytes; within a year no stroke is lost that is not too
// old.
func TestPaceIsBounded(t *testing.T) {
	random := rand.New(rand.NewPCG(28, 5))
	for range 200 {
		var p Pace
		now := monday
		total, dropped := 0, 0
		for range 300 {
			step := time.Duration(random.ExpFloat64() * 20 * float64(time.Hour))
			switch random.IntN(20) {
			case 0:
				step = -step * 4
			case 1:
				step *= 40
			}
			now = now.Add(step)
			before := p
			p.Stroke(now)
			total++
			last := len(p.Days) - 1
			if last < 0 || last >= paceDays || p.Days[last].Day != day(now) || p.From > p.Days[0].Day {
				t.Fatalf("%s: kept %v, before it %v", now, p, before)
			}
			sum := 0
			for i, d := range p.Days {
				if sum += d.Strokes; d.Strokes < 1 || i > 0 && d.Day <= p.Days[i-1].Day {
					t.Fatalf("kept %v", p)
				}
			}
			if p.From == day(now) && last == 0 && sum == 1 { // begun anew
				total, dropped = 1, 0
			}
			if dropped < total-sum {
				if last != paceDays-1 {
					t.Fatalf("%d of %d strokes are lost although only %d days are kept", total-sum, total, last+1)
				}
				dropped = total - sum
			}
			if b, err := json.Marshal(p); err != nil || len(b) > 400 {
				t.Fatalf("%d bytes, %v: %s", len(b), err, b)
			}
			if pace, known := p.PerDay(now); known && (math.IsInf(pace, 0) || !(pace > 0)) {
				t.Fatalf("%v a day of %v", pace, p)
			}
		}
	}
}

// TestPaceZones: the same moments in other time zones, over a change to summer time,
// are the same pace.
func TestPaceZones(t *testing.T) {
	random := rand.New(rand.NewPCG(12, 14))
	var utc, abroad Pace
	at := monday
	for range 2000 {
		at = at.Add(time.Duration(random.ExpFloat64() * float64(time.Hour)))
		zone := time.FixedZone("", random.IntN(26*3600)-12*3600)
		utc.Stroke(at)
		abroad.Stroke(at.In(zone))
		if !reflect.DeepEqual(utc, abroad) {
			t.Fatalf("%s: %v in UTC, %v in %s", at, utc, abroad, at.In(zone))
		}
		one, _ := utc.Forecast(500, at)
		if other, _ := utc.Forecast(500, at.In(zone)); one != other {
			t.Fatalf("%s: in %d days, in %s in %d", at, one, at.In(zone), other)
		}
	}
}

// randomPace is some use of a cage with idle days, and a moment after it; a stroke or
// more for each day.
func randomPace(random *rand.Rand) (p Pace, now time.Time) {
	n := 0
	for range 6 + random.IntN(40) {
		strokes(&p, 3+random.IntN(30), n)
		n += 1 + random.IntN(3)
	}
	return p, on(n, 24*random.Float64())
}

// TestPaceIsMonotone: more to come is never earlier; a stroke more is never later;
// and a cage of which all is doubled is due as soon, to the day.
func TestPaceIsMonotone(t *testing.T) {
	random := rand.New(rand.NewPCG(50, 1000))
	for range 5_000 {
		p, now := randomPace(random)
		remaining := 1 + random.IntN(1000)
		in, known := p.Forecast(remaining, now)
		if !known {
			t.Fatalf("%v on day %d is not known", p, day(now))
		}
		if more, _ := p.Forecast(remaining+1, now); more < in || more > in+1 {
			t.Fatalf("%d to come: in %d days, one more: in %d", remaining, in, more)
		}
		after, kept := p, slices.Clone(p.Days)
		after.Stroke(now)
		if !slices.Equal(p.Days, kept) {
			t.Fatalf("a copy counted, and %v became %v", kept, p.Days)
		}
		if less, _ := after.Forecast(remaining-1, now); len(p.Days) < paceDays && less > in {
			t.Fatalf("%d to come: in %d days, after one of them: in %d", remaining, in, less)
		}
		double := Pace{From: p.From}
		for _, d := range p.Days {
			double.Days = append(double.Days, PaceDay{d.Day, 2 * d.Strokes})
		}
		if twice, _ := double.Forecast(2*remaining, now); twice < in || twice > in+1 {
			t.Fatalf("%d to come: in %d days, all doubled: in %d", remaining, in, twice)
		}
		if sooner, _ := double.Forecast(remaining, now); sooner > in {
			t.Fatalf("%d to come: in %d days, at twice the pace: in %d", remaining, in, sooner)
		}
	}
}

// TestPaceForecastOfChance: where each day brings what chance gives, the forecast is
// right on the average: 200 strokes at 8 on five days of seven are 35 days.
func TestPaceForecastOfChance(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 35))
	const shops = 2000
	sum := 0.0
	for range shops {
		var p Pace
		begin := random.IntN(7)
		for n := begin; n < begin+42; n++ {
			if n%7 < 5 {
				strokes(&p, random.IntN(17), n)
			}
		}
		in, known := p.Forecast(200, on(begin+42, 0))
		if !known {
			t.Fatalf("%v is not known", p)
		}
		sum += float64(in)
	}
	if got := sum / shops; math.Abs(got-35) > 1.5 {
		t.Errorf("200 strokes are forecast in %.2f days on the average, want 35", got)
	}
}

func TestPaceJSON(t *testing.T) {
	var p Pace
	strokes(&p, 2, 0, 3)
	b, err := json.Marshal(p)
	if want := `{"from":20514,"days":[[20514,2],[20517,2]]}`; err != nil || string(b) != want {
		t.Errorf("%s, %v, want %s", b, err, want)
	}
	var again Pace
	if err := json.Unmarshal(b, &again); err != nil || !reflect.DeepEqual(again, p) {
		t.Errorf("%v, %v, want %v", again, err, p)
	}
	for _, bad := range []string{`[]`, `[1]`, `[1,2,3]`, `7`, `"x"`, `[1,"x"]`, `{}`} {
		var d PaceDay
		if err := json.Unmarshal([]byte(bad), &d); err == nil || !strings.Contains(err.Error(), "want a pair, day and strokes") {
			t.Errorf("%s: %v, %v, want an error", bad, d, err)
		}
	}
}
