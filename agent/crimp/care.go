package crimp

import "time"

// Work is work on a die cage, or on the press itself.
type Work string

// The works on a die cage, and that on the press.
const (
	Lubricate Work = "lubricate"
	Clean     Work = "clean"
	Teardown  Work = "teardown" // taken apart and inspected
	Oil       Work = "oil"      // level of the press's hydraulic oil checked, the ring fully retracted
)

// Condition is how a die cage was found.
type Condition string

// The conditions of a die cage.
const (
	Good Condition = "good"
	Worn Condition = "worn" // still in use
	Out  Condition = "out"  // out of service
)

// Conditions are all conditions.
func Conditions() []Condition { return []Condition{Good, Worn, Out} }

// Works are all works on a die cage.
func Works() []Work { return []Work{Lubricate, Clean, Teardown} }

// Intervals are when a cage is due: lubrication every 50 crimps, tear-down and
// inspection every 1,000 crimps or six months, whichever comes first, are facts
// of the trade (common practice, no source). 0 switches one off. Cleaning has
// no interval of its own.
type Intervals struct {
	Lubricate int // strokes
	Teardown  int // strokes
	Months    int
	OilDays   int // from one check of the press's oil level to the next; the press's manual says (no default)
}

// Since is what a cage has done since one work on it.
type Since struct {
	Strokes int  `json:"strokes"`
	Moment       // of the work; before the first one, when the cage was first seen
	Due     bool `json:"due,omitempty"` // fell due and is not yet done
}

// Cage is the care of one die cage. Its counts follow the cage through all orders.
type Cage struct {
	Strokes    int       `json:"strokes"` // ever, as far as they were seen
	Lubricated Since     `json:"lubricated"`
	Cleaned    Since     `json:"cleaned"`
	TornDown   Since     `json:"torn_down"`
	Found      Condition `json:"found,omitempty"` // when it was last looked at; "": nobody said
	Pace       Pace      `json:"pace,omitzero"`
}

// NewCage is a cage first seen at a time, with nothing known of its past.
func NewCage(at time.Time) *Cage {
	since := Since{Moment: Moment{At: at}}
	return &Cage{Lubricated: since, Cleaned: since, TornDown: since}
}

// Since is what the cage has done since a work; nil: the work is the press's.
func (c *Cage) Since(w Work) *Since {
	switch w {
	case Lubricate:
		return &c.Lubricated
	case Clean:
		return &c.Cleaned
	case Teardown:
		return &c.TornDown
	case Oil:
		return nil
	}
	return nil
}

// Stroke counts one stroke.
func (c *Cage) Stroke(at time.Time) {
	c.Strokes++
	c.Pace.Stroke(at)
	for _, w := range Works() {
		c.Since(w).Strokes++
	}
}

// FallsDue says whether a work that was not due is due now. Time alone may make
// a tear-down due; a clock that jumps back cannot take it back, because the mark
// stays until the work is done.
func (c *Cage) FallsDue(w Work, iv Intervals, now time.Time) bool {
	since := c.Since(w)
	if since == nil || since.Due {
		return false
	}
	strokes, last := since.limits(w, iv)
	return strokes > 0 && since.Strokes >= strokes || !last.IsZero() && !now.Before(last)
}

// limits are the strokes and the time at which a work is due; 0 and the zero time
// where it has no such limit.
func (s *Since) limits(w Work, iv Intervals) (strokes int, last time.Time) {
	switch w {
	case Lubricate:
		return iv.Lubricate, time.Time{}
	case Teardown:
		if iv.Months > 0 {
			last = AddMonths(s.At.UTC(), iv.Months)
		}
		return iv.Teardown, last
	case Clean, Oil:
		return 0, time.Time{}
	}
	return 0, time.Time{}
}

// DueIn is in how many calendar days a work will be due, at the cage's pace or by
// the calendar, whichever comes first; 0 is today, and what is due already. It is
// not known where the work has no interval, or only one of strokes and the pace is
// not known yet.
func (c *Cage) DueIn(w Work, iv Intervals, now time.Time) (days int, known bool) {
	since := c.Since(w)
	if since == nil {
		return 0, false
	}
	if since.Due || c.FallsDue(w, iv, now) {
		return 0, true
	}
	strokes, last := since.limits(w, iv)
	if strokes > 0 {
		days, known = c.Pace.Forecast(strokes-since.Strokes, now)
	}
	if last.IsZero() {
		return days, known
	}
	if byDate := day(last) - day(now); !known || byDate < days {
		days = byDate
	}
	return days, true
}

// Done starts the count of a work anew.
func (c *Cage) Done(w Work, at time.Time) { *c.Since(w) = Since{Moment: Moment{At: at}} }

// Inspect keeps how the cage was found.
func (c *Cage) Inspect(found Condition) { c.Found = found }

// AddMonths is the same day n months later, or the last day of that month when
// it has no such day: six months after 31 August is 28 or 29 February. So does
// W3C XML Schema part 2, appendix E, and so do the laws on periods of months,
// such as article 3(2)(c) of Regulation (EEC, Euratom) 1182/71 (from memory).
// Days are those of t's zone; care gives them in UTC, so that no change of zone
// and no summer time moves a date.
func AddMonths(t time.Time, n int) time.Time {
	later := t.AddDate(0, n, 0)
	if later.Day() != t.Day() {
		return later.AddDate(0, 0, -later.Day())
	}
	return later
}
