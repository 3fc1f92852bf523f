package station

import (
	"fmt"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// scrap gives an end or a whole assembly up for what no caliper shows, or says
// that it is not scrap after all.
func (s *Station) scrap(in Action) string {
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
		At: in.At, Kind: record.Scrap, Order: o.ID, Operator: s.who(in), Reason: in.Reason, State: record.On,
	}
	if in.Off {
		r.State = record.Off
	} else if in.Reason == "" {
		return "no reason is named: say why it is scrap"
	}
	if in.Assembly != 0 {
		if refused := o.badAssembly(in.Assembly); refused != "" {
			return refused
		}
		if lost := o.Marks.At(wholeAssembly, in.Assembly) == MarkLost; lost == !in.Off {
			return fmt.Sprintf("assembly %d of order %s is %s already", in.Assembly, o.ID, given(!in.Off))
		}
		r.Assembly = in.Assembly
		s.emit(r)
		return ""
	}
	p, refused := o.named(in.Piece)
	if refused != "" {
		return refused
	}
	if (p.Given != "") == !in.Off {
		return fmt.Sprintf("piece %s is %s already", o.id(p.N), given(!in.Off))
	}
	r.Piece, r.End, r.Assembly = o.id(p.N), p.End, p.Assembly
	s.emit(r)
	return ""
}

// given says whether something was given up.
func given(up bool) string {
	if up {
		return "given up"
	}
	return "not given up"
}

func (s *Station) applyScrap(r record.Record) {
	o := s.state.Order
	if o == nil {
		return
	}
	if r.Piece == "" {
		mark := MarkLost
		if r.State == record.Off {
			mark = MarkOpen
		}
		o.mark(wholeAssembly, r.Assembly, mark)
		if p := o.piece(o.Again); p != nil && p.Assembly == r.Assembly {
			o.Again = 0
		}
		return
	}
	p := o.piece(pieceNumber(r.Piece))
	if p == nil {
		return
	}
	if p.Given = ""; r.State == record.On {
		p.Given = r.Reason
	}
	outcome := p.standing()
	o.settle(p, outcome)
	switch {
	case p.Given != "" && o.Again == p.N:
		o.Again = 0
	case p.Given == "" && outcome == crimp.Recrimp && p.shot().Outcome == outcome && o.Again == 0:
		o.Again = p.N
	}
	if p.Given != "" && o.Measured == p.N {
		o.Measured = 0
	}
}

// standing is the outcome of a piece as it was judged last; "": it was not.
func (p *piece) standing() crimp.Outcome {
	if outcome := p.shot().Outcome; outcome != "" || len(p.Shots) < 2 {
		return outcome
	}
	return p.Shots[len(p.Shots)-2].Outcome
}
