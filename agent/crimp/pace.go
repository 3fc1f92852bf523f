package crimp

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"
)

const (
	paceDays = 28  // days with a stroke that are kept: four weeks of daily use (own choice, no source)
	paceSpan = 5   // whole days from which on a pace is told: a working week (own choice, no source)
	paceGap  = 366 // days without a stroke after which nothing is known any more
)

// Pace is how much a die cage is used: its strokes on each of the latest 28
// calendar days with a stroke. Days are those of UTC, so that no time zone and no
// summer time moves a stroke.
//
// Clocks are wrong at times, and jump when they are set right. No stroke is lost
// by that: when a stroke is dated before the latest day, then whatever was kept of
// later days is counted to its day, and an average over a clock that was
// behind for a while is right again when the clock is. Where the clock shows a day
// before all that is kept, or more than 366 days after, the pace begins anew: a
// clock that was years ahead, or a cage from the shelf, tells nothing of today.
type Pace struct {
	From int       `json:"from"` // first day that is counted, stroke or none; days since 1970-01-01
	Days []PaceDay `json:"days"` // rising
}

// PaceDay is a day with its strokes; in JSON a pair of numbers, [20515,12].
type PaceDay struct {
	Day     int // since 1970-01-01
	Strokes int
}

// MarshalJSON writes the pair of day and strokes.
func (d PaceDay) MarshalJSON() ([]byte, error) { return json.Marshal([2]int{d.Day, d.Strokes}) }

// UnmarshalJSON reads the pair of day and strokes.
func (d *PaceDay) UnmarshalJSON(b []byte) error {
	var pair []int
	if err := json.Unmarshal(b, &pair); err != nil || len(pair) != 2 {
		return fmt.Errorf("day of a pace %s: want a pair, day and strokes", b)
	}
	d.Day, d.Strokes = pair[0], pair[1]
	return nil
}

// day is the calendar day of a time, days since 1970-01-01 in UTC.
func day(at time.Time) int {
	const seconds = 24 * 60 * 60
	s := at.Unix()
	d := s / seconds
	if s%seconds < 0 {
		d-- // division goes towards zero, days go down
	}
	return int(d)
}

// Stroke counts one stroke.
func (p *Pace) Stroke(at time.Time) {
	d := day(at)
	if len(p.Days) == 0 || d < p.From || d-p.last().Day > paceGap {
		*p = Pace{From: d, Days: []PaceDay{{d, 1}}}
		return
	}
	strokes := 1
	for len(p.Days) > 0 && p.last().Day >= d {
		strokes += p.last().Strokes
		p.Days = p.Days[:len(p.Days)-1]
	}
	p.Days = append(slices.Clip(p.Days), PaceDay{d, strokes}) // a new array: copies of the pace stay as they are
	if drop := len(p.Days) - paceDays; drop > 0 {
		p.From = p.Days[drop-1].Day + 1
		p.Days = p.Days[drop:]
	}
}

func (p Pace) last() PaceDay { return p.Days[len(p.Days)-1] }

// seen are the strokes of the whole days before today, as many as there are, and
// those of today. A clock that is behind the latest day is taken to show that day.
func (p Pace) seen(now time.Time) (strokes, days, today int) {
	if len(p.Days) == 0 {
		return 0, 0, 0
	}
	d := max(day(now), p.last().Day)
	if d-p.last().Day > paceGap {
		return 0, 0, 0
	}
	for _, kept := range p.Days {
		if kept.Day < d {
			strokes += kept.Strokes
		} else {
			today = kept.Strokes
		}
	}
	return strokes, d - p.From, today
}

// PerDay is the average of strokes over the calendar days before today, idle ones
// included, today left out as it is not over. It is known from five such days on.
func (p Pace) PerDay(now time.Time) (strokes float64, known bool) {
	sum, days, _ := p.seen(now)
	if days < paceSpan {
		return 0, false
	}
	return float64(sum) / float64(days), true
}

// mostDays bounds a forecast: a hundred years, far beyond any interval of care.
const mostDays = 36_525

// Forecast is in how many days, 0 for today, so many more strokes will have been
// made at this pace. It is known when PerDay is.
func (p Pace) Forecast(remaining int, now time.Time) (days int, known bool) {
	sum, span, today := p.seen(now)
	if span < paceSpan || sum == 0 {
		return 0, false
	}
	if remaining <= 0 {
		return 0, true
	}
	// In strokes times days, so that it stays whole: what a day brings is sum, and
	// a day that brought more than that leaves nothing of itself to come.
	done := min(int64(today)*int64(span), int64(sum))
	ahead := (int64(min(remaining, 1<<30)) - 1) * int64(span)
	return int(min((done+ahead)/int64(sum), mostDays)), true
}
