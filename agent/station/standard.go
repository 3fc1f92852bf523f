package station

import (
	"fmt"
	"slices"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// standard says that the next reading is of a gauge block or ring.
func (s *Station) standard(in Action) string {
	if reason := s.badOperator(in); reason != "" {
		return reason
	}
	r := record.Record{At: in.At, Kind: record.Standard, Standard: in.Standard, State: record.Due, Operator: s.who(in)}
	if in.Standard == "" {
		if s.state.Caliper.Awaited == "" {
			return "no gauge block or ring is waited for"
		}
		r.Standard, r.State = s.state.Caliper.Awaited, record.Off
		s.emit(r)
		return ""
	}
	if _, known := s.standardNamed(in.Standard); !known {
		var names []string
		for _, std := range s.rules.Standards {
			names = append(names, std.Name)
		}
		if names == nil {
			return "the configuration names no gauge block or ring"
		}
		return fmt.Sprintf("%q is no gauge block or ring of this shop: want one of %s", in.Standard, strings.Join(names, ", "))
	}
	s.emit(r)
	return ""
}

func (s *Station) standardNamed(name string) (crimp.Standard, bool) {
	i := slices.IndexFunc(s.rules.Standards, func(std crimp.Standard) bool { return std.Name == name })
	if i < 0 {
		return crimp.Standard{}, false
	}
	return s.rules.Standards[i], true
}

// compare keeps a reading of a gauge block or ring. When the caliper is off by
// more than it may be, all readings since it was last found good are in doubt.
func (s *Station) compare(in Reading) {
	st := &s.state
	std, known := s.standardNamed(st.Caliper.Awaited)
	if !known { // the configuration is another one now
		s.emit(record.Record{At: in.At, Kind: record.Standard, Standard: st.Caliper.Awaited, State: record.Off})
		in.take(s)
		return
	}
	if in.Value < std.Value/2 || in.Value > 2*std.Value {
		s.emit(record.Record{
			At: in.At, Kind: record.Refused, Source: record.Caliper, Raw: in.Raw,
			Reason: fmt.Sprintf("%s cannot be a reading of %s, which is %s: measure it again", in.Value, std.Name, std.Value),
		})
		return
	}
	off := in.Value - std.Value
	r := record.Record{
		At: in.At, Kind: record.Standard, Standard: std.Name, State: record.Done, Operator: st.Operator, Raw: in.Raw,
		Target: record.Ptr(std.Value), Plus: record.Ptr(std.Allowed), Minus: record.Ptr(std.Allowed),
		Diameter: record.Ptr(in.Value), Deviation: record.Ptr(off), OK: record.Ptr(off.Abs() <= std.Allowed),
	}
	if !*r.OK {
		r.Doubt = st.Caliper.Good + 1
	}
	s.emit(r)
}

func (s *Station) applyStandard(r record.Record) {
	c := &s.state.Caliper
	switch r.State {
	case record.Due:
		c.Awaited = r.Standard
		return
	case record.Off:
		c.Awaited = ""
		return
	}
	c.Awaited, c.Doubt = "", r.Doubt
	c.At = s.state.moment(r)
	c.Standard = &StandardView{At: r.At, Name: r.Standard, Nominal: *r.Target, Value: *r.Diameter, OK: *r.OK}
	if *r.OK {
		c.Good = r.Seq
	}
	s.doubt(r)
}

// checkDue says whether the caliper is to be checked, by the shop's interval.
func (s *Station) checkDue() bool {
	if s.rules.CheckEvery <= 0 || len(s.rules.Standards) == 0 {
		return false
	}
	last := s.state.Caliper.Standard
	return last == nil || s.state.Clock.Now.Sub(counted(s.state.Caliper.At, last.At)) >= s.rules.CheckEvery
}
