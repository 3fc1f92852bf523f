package station

import (
	"cmp"
	"fmt"
	"slices"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// advised is a setting that was advised; -1: none is from then on.
type advised struct {
	seq     uint64
	piece   string // for crimping it again; "": for the next piece
	setting int
}

// advise hears of advice.
func (c *Clerk) advise(r record.Record, setting int) {
	a := advised{seq: r.Seq, setting: setting}
	if r.For == record.ForRecrimp {
		a.piece = r.Piece
	}
	c.advice = append(c.advice, a)
}

// advisedFor is what was advised for the last of a piece's crimps: for its first
// what was for the next piece, for another what its crimp before led to; -1:
// nothing was.
func (c *Clerk) advisedFor(id string, crimps []*shot) int {
	n, after := len(crimps), uint64(0)
	if n == 1 {
		id = ""
	} else {
		after = crimps[n-2].Seq
	}
	i, _ := slices.BinarySearchFunc(c.advice, crimps[n-1].Seq, func(a advised, seq uint64) int { return cmp.Compare(a.seq, seq) })
	for i--; i >= 0 && c.advice[i].seq > after; i-- {
		if c.advice[i].piece == id {
			return c.advice[i].setting
		}
	}
	return -1
}

// stroke hears of a crimp.
func (c *Clerk) stroke(s *Station, r record.Record, hit *shot) {
	if c != nil && r.Order == c.order {
		if len(c.strokes) == 0 {
			c.setUps = hit.SetUp - 1
		}
		if _, counted := c.strokes[r.Cage]; !counted {
			c.strokes[r.Cage] = hit.Stroke - 1
		}
		c.shots[r.Seq] = &CrimpEntry{
			At: r.At, Seq: r.Seq, SetUp: hit.SetUp - c.setUps, Stroke: hit.Stroke - c.strokes[r.Cage],
			Setting: hit.Setting, Operator: s.state.Operator,
		}
	}
}

// verdict hears what the readings of a crimp said.
func (c *Clerk) verdict(s *Station, r record.Record, o *order, hit *shot) {
	if c == nil {
		return
	}
	e := c.shots[hit.Seq]
	if e == nil {
		return
	}
	e.unjudged()
	e.Reason = r.Reason
	if r.Mean == nil {
		return
	}
	e.Offset = crimp.Nearest(s.offset(o, hit, &r))
	e.Mean, e.Deviation, e.Ovality = *r.Mean, *r.Deviation, *r.Ovality
	if r.U != nil {
		e.U = *r.U
	}
	if r.Conformity != nil {
		e.Conformity = *r.Conformity
	}
}

// unjudged takes away what the readings said of a crimp.
func (e *CrimpEntry) unjudged() {
	e.Mean, e.Deviation, e.Offset, e.Ovality, e.U, e.Conformity, e.Reason = 0, 0, 0, 0, 0, -1, ""
}

func (c *Clerk) piece(o *opening) PieceEntry {
	p := o.piece
	e := PieceEntry{
		N: p.N, ID: fmt.Sprintf("%s/%d", c.order, p.N), Assembly: p.Assembly, End: p.End, Spec: o.spec, Cage: o.cage, Parts: o.parts,
		Outcome: p.Outcome, Plan: p.Due, Scrap: p.Given, Checks: c.checks[p.N],
	}
	for i, hit := range p.Shots {
		crimped := CrimpEntry{Seq: hit.Seq, Setting: hit.Setting, Conformity: -1}
		if known := c.shots[hit.Seq]; known != nil {
			crimped = *known
		}
		crimped.Advised = c.advisedFor(e.ID, p.Shots[:i+1])
		if crimped.Outcome = hit.Outcome; hit.Outcome == "" {
			crimped.unjudged()
		}
		for _, t := range hit.Readings {
			crimped.Readings = append(crimped.Readings, ReadingEntry{Seq: t.Seq, Value: t.Value, Doubt: c.doubted(t.Seq)})
		}
		e.Crimps = append(e.Crimps, crimped)
	}
	return e
}
