package station

import (
	"fmt"
	"slices"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// points are what is looked at on an order: what the shop looks at, and on each
// assembly what its job card asks for.
func (o *order) points(shop Points) Points {
	if o.Job == nil {
		return Points{}
	}
	p := Points{End: shop.End, Assembly: slices.Clone(shop.Assembly)}
	if o.Job.Length > 0 {
		p.Assembly = append(p.Assembly, PointLength)
	}
	if o.Job.Angle != nil {
		p.Assembly = append(p.Assembly, PointAngle)
	}
	if o.Job.Working > 0 {
		p.Assembly = append(p.Assembly, PointProof)
	}
	return p
}

// check keeps that points of an end or of an assembly were looked at or measured.
func (s *Station) check(in Action) string {
	o := s.state.Order
	if o == nil {
		return "no order is in work"
	}
	if reason := s.badOperator(in); reason != "" {
		return reason
	}
	if reason := badText("reason", in.Reason); reason != "" {
		return reason
	}
	r := record.Record{
		At: in.At, Kind: record.Check, Order: o.ID, Operator: s.who(in), Reason: in.Reason,
		OK: record.Ptr(in.OK == nil || *in.OK),
	}
	refused := ""
	if in.Assembly != 0 {
		refused = s.checkAssembly(o, in, &r)
	} else {
		refused = s.checkEnd(o, in, &r)
	}
	if refused != "" {
		return refused
	}
	s.emit(r)
	return ""
}

// checkEnd completes the record of points of an end.
func (s *Station) checkEnd(o *order, in Action, r *record.Record) (refused string) {
	p, refused := o.named(in.Piece)
	if refused != "" {
		return refused
	}
	if in.Value != nil || in.Angle != nil {
		return "a length and an angle are of an assembly: name the assembly"
	}
	wanted := append(slices.Clone(s.rules.Points.End), PointFirst)
	points, refused := chosen(in.Points, s.rules.Points.End, wanted, "an end")
	if refused != "" {
		return refused
	}
	if slices.Contains(points, PointFirst) {
		switch {
		case r.Operator == "":
			return "a first piece is signed off by name: say who you are first"
		case *r.OK && p.standing() != crimp.Pass:
			return fmt.Sprintf("piece %s is not judged to be within its limits, so that it cannot be signed off", o.id(p.N))
		}
	}
	r.Piece, r.End, r.Assembly, r.Points = o.id(p.N), p.End, p.Assembly, strings.Join(points, ",")
	return ""
}

// named is the piece with an id, or with none the latest one.
func (o *order) named(id string) (p *piece, refused string) {
	if id == "" {
		if p = o.latest(); p == nil {
			return nil, fmt.Sprintf("no piece of order %s is crimped yet", o.ID)
		}
		return p, ""
	}
	n := pieceNumber(id)
	if p = o.piece(n); n == 0 || o.id(n) != id || p == nil {
		return nil, fmt.Sprintf("piece %q is not at hand: name one of the latest %d pieces of order %s", id, keptPieces, o.ID)
	}
	return p, ""
}

// checkAssembly completes the record of points of an assembly. What was measured
// decides whether it is as it should be.
func (s *Station) checkAssembly(o *order, in Action, r *record.Record) (refused string) {
	if refused := o.badAssembly(in.Assembly); refused != "" {
		return refused
	}
	wanted := o.points(s.rules.Points).Assembly
	wanted = slices.DeleteFunc(wanted, func(p string) bool { return p == PointProof })
	defaults := slices.DeleteFunc(slices.Clone(wanted), func(p string) bool { return p == PointLength || p == PointAngle })
	if in.Value != nil || in.Angle != nil {
		defaults = nil
		if in.Value != nil {
			defaults = append(defaults, PointLength)
		}
		if in.Angle != nil {
			defaults = append(defaults, PointAngle)
		}
	}
	points, refused := chosen(in.Points, defaults, wanted, "an assembly")
	if refused != "" {
		return refused
	}
	if slices.Contains(points, PointLength) != (in.Value != nil) {
		return "a length is checked by its measured value, and a measured value is of the point length"
	}
	if slices.Contains(points, PointAngle) != (in.Angle != nil) {
		return "an angle is checked by its measured value, and a measured angle is of the point angle"
	}
	var amiss []string
	if in.Value != nil {
		if *in.Value <= 0 || *in.Value > 2*o.Job.Length {
			return fmt.Sprintf("%s cannot be the length of an assembly of %s: measure again", o.along(*in.Value), o.along(o.Job.Length))
		}
		off := *in.Value - o.Job.Length
		r.Value, r.Target, r.Deviation = in.Value, record.Ptr(o.Job.Length), record.Ptr(off)
		r.Plus, r.Minus = record.Ptr(o.Job.Plus), record.Ptr(o.Job.Minus)
		switch {
		case off > o.Job.Plus:
			amiss = append(amiss, fmt.Sprintf("%s too long", o.along(off-o.Job.Plus)))
		case off < -o.Job.Minus:
			amiss = append(amiss, fmt.Sprintf("%s too short", o.along(-o.Job.Minus-off)))
		}
	}
	if in.Angle != nil {
		allowed := crimp.AngleTolerance(o.Job.Length)
		off := crimp.AngleOff(*in.Angle, float64(*o.Job.Angle))
		r.Angle = in.Angle
		if off > allowed || off < -allowed {
			amiss = append(amiss, fmt.Sprintf("%g degrees off, %g are allowed", off, allowed))
		}
	}
	if len(amiss) > 0 {
		r.OK = record.Ptr(false)
		r.Reason = strings.Join(append(amiss, nonEmpty(in.Reason)...), "; ")
	}
	r.Assembly, r.Points = in.Assembly, strings.Join(points, ",")
	return ""
}

// along writes a length along the hose in the unit of the sheet, as a tape measure
// tells it.
func (o *order) along(l crimp.Length) string {
	if o.Spec.Unit == crimp.Inches {
		return l.Text(crimp.Inches, 2)
	}
	return l.Text(crimp.Millimetres, 1)
}

// chosen are the points that an action names, or the usual ones.
func chosen(named string, usual, known []string, of string) (points []string, refused string) {
	points = usual
	if named != "" {
		points = strings.Split(named, ",")
	}
	for i, p := range points {
		if points[i] = strings.TrimSpace(p); !slices.Contains(known, points[i]) {
			return nil, fmt.Sprintf("%q is no point of %s: want one of %s", p, of, strings.Join(known, ", "))
		}
	}
	if len(points) == 0 {
		return nil, "nothing is looked at there: the configuration names no points"
	}
	return points, ""
}

// badAssembly says why an assembly cannot be looked at; "": it can.
func (o *order) badAssembly(k int) string {
	switch {
	case o.Job == nil:
		return fmt.Sprintf("order %s has no job card: it is counted in single ends, not in assemblies", o.ID)
	case k < 1 || k > o.Marks.Len():
		return fmt.Sprintf("assembly %d of order %s was not begun: %d were", k, o.ID, o.Marks.Len())
	}
	return ""
}

func (s *Station) applyCheck(r record.Record) {
	o := s.state.Order
	if o == nil {
		return
	}
	p := o.piece(pieceNumber(r.Piece))
	for _, point := range strings.Split(r.Points, ",") {
		switch {
		case r.Piece == "":
			o.mark(point, r.Assembly, checked(r))
		case point == PointFirst:
			if p != nil && o.Sign == p.N && *r.OK {
				o.Sign = 0
			}
		default:
			o.mark(endPoint(r.End, point), r.Assembly, checked(r))
			if p == nil {
				continue
			}
			if p.Looked == nil {
				p.Looked = map[string]Mark{}
			}
			p.Looked[point] = checked(r)
		}
	}
}

// checked is the mark of what a record says was looked at.
func checked(r record.Record) Mark {
	if r.OK != nil && *r.OK {
		return MarkChecked
	}
	return MarkAmiss
}

// proof keeps a proof test as those who made it tell it. Its arithmetic is
// checked; nothing here makes one.
func (s *Station) proof(in Action) string {
	o := s.state.Order
	if o == nil {
		return "no order is in work"
	}
	if refused := o.badAssembly(in.Assembly); refused != "" {
		return refused
	}
	if reason := s.badOperator(in); reason != "" {
		return reason
	}
	if reason := badText("reason", in.Reason); reason != "" {
		return reason
	}
	r := record.Record{
		At: in.At, Kind: record.Proof, Order: o.ID, Assembly: in.Assembly, Operator: s.who(in), Reason: in.Reason,
		Pressure: in.Pressure, Hold: in.Hold, OK: record.Ptr(in.OK == nil || *in.OK), Job: &record.Job{Working: o.Job.Working},
	}
	switch {
	case r.Operator == "":
		return "a proof test is told by name, by a trained person: say who you are first"
	case in.Pressure <= 0 || in.Pressure > crimp.MostPressure:
		return "no pressure is named: say at what pressure the assembly was tested"
	case in.Hold < 1 || in.Hold > 3600:
		return fmt.Sprintf("held for %d s: want how long the pressure was held, in seconds", in.Hold)
	}
	if r.Working == 0 {
		r.Reason = strings.Join(append([]string{"the job card gives no working pressure"}, nonEmpty(in.Reason)...), "; ")
	} else if ok, reason := (crimp.Proof{Working: r.Working, Pressure: r.Pressure, Hold: r.Hold}).Check(); reason != "" {
		r.OK = record.Ptr(*r.OK && ok)
		r.Reason = strings.Join(append([]string{reason}, nonEmpty(in.Reason)...), "; ")
	}
	s.emit(r)
	return ""
}

func nonEmpty(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}
