package station

import (
	"fmt"
	"slices"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// checkCare tells of each work on the loaded cage, and on the press, that has
// fallen due, by the time as it is counted.
func (s *Station) checkCare(at time.Time) {
	st := &s.state
	iv := s.rules.Intervals
	now := st.Clock.Now
	if due := st.Oil.At.AddDate(0, 0, iv.OilDays); iv.OilDays > 0 && !st.Oil.Due && !st.Oil.At.IsZero() && !now.Before(due) {
		s.emit(record.Record{
			At: at, Kind: record.Care, Work: crimp.Oil, State: record.Due, Strokes: record.Ptr(st.Oil.Strokes),
			Reason: fmt.Sprintf("%d days since the last one", iv.OilDays),
		})
	}
	c := st.Cages[st.Cage]
	if c == nil {
		return
	}
	for _, w := range crimp.Works() {
		if !c.FallsDue(w, iv, now) {
			continue
		}
		since := c.Since(w)
		r := record.Record{
			At: at, Kind: record.Care, Cage: st.Cage, Work: w, State: record.Due,
			Strokes: record.Ptr(since.Strokes),
		}
		if w == crimp.Teardown && since.Strokes < iv.Teardown {
			r.Reason = fmt.Sprintf("%d months since the last one", iv.Months)
		}
		s.emit(r)
	}
}

// care keeps that a work was done, and what was found.
func (s *Station) care(in Action) string {
	if in.Work == crimp.Oil {
		in.Cage = ""
		if s.rules.Retracts && !s.state.Retract {
			return "the oil's level is read with the ring fully retracted: retract it first"
		}
	} else {
		if in.Cage == "" {
			in.Cage = s.state.Cage
		}
		if reason := badName("cage", in.Cage); reason != "" {
			return reason
		}
		if !slices.Contains(crimp.Works(), in.Work) {
			return fmt.Sprintf("work %q: want one of %v", in.Work, append(crimp.Works(), crimp.Oil))
		}
	}
	if reason := s.badOperator(in); reason != "" {
		return reason
	}
	if reason := badText("finding", in.Finding); reason != "" {
		return reason
	}
	if in.Condition != "" && (in.Cage == "" || !slices.Contains(crimp.Conditions(), in.Condition)) {
		return fmt.Sprintf("condition %q: want one of %v, of a die cage", in.Condition, crimp.Conditions())
	}
	strokes := s.state.Oil.Strokes
	if in.Cage != "" {
		strokes = 0
		if c := s.state.Cages[in.Cage]; c != nil {
			strokes = c.Since(in.Work).Strokes
		}
	}
	s.emit(record.Record{
		At: in.At, Kind: record.Care, Cage: in.Cage, Work: in.Work, State: record.Done,
		Strokes: record.Ptr(strokes), Operator: s.who(in), Finding: in.Finding, Condition: in.Condition,
	})
	return ""
}

func (s *Station) applyCare(r record.Record) {
	st := &s.state
	if r.Work == crimp.Oil {
		if st.Oil.Due = r.State == record.Due; !st.Oil.Due {
			st.Oil = crimp.Since{Moment: st.moment(r)}
		}
		return
	}
	c := st.cage(r)
	if r.State == record.Due {
		c.Since(r.Work).Due = true
		return
	}
	c.Done(r.Work, r.At)
	c.Since(r.Work).Moment = st.moment(r)
	if r.Condition != "" {
		c.Inspect(r.Condition)
	}
	if r.Work == crimp.Teardown && r.Cage == st.Cage {
		s.endSetUp()
		s.openSetUp()
		if st.Order != nil {
			st.Order.firstOfSetUp()
		}
	}
}
