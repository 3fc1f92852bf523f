package panel

import (
	"strconv"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// pieceNumber is n of <order>/<n>; 0: there is no piece.
func pieceNumber(piece string) int {
	n, _ := strconv.Atoi(piece[strings.LastIndexByte(piece, '/')+1:]) // no number, no piece
	return n
}

// pieceView is one of the latest pieces; nil: it is not at hand any more.
func pieceView(o *station.OrderView, id string) *station.PieceView {
	for i := range o.Latest {
		if o.Latest[i].ID == id {
			return &o.Latest[i]
		}
	}
	return nil
}

// pieceText names a piece by its number, and by its assembly and end if it has them.
func (s scene) pieceText(id string) string {
	o := s.View.Order
	text := s.t.Say("piece %d", pieceNumber(id))
	if p := pieceView(o, id); p != nil && p.Assembly > 0 {
		return text + " · " + s.t.Say("assembly %d, end %s", p.Assembly, p.End)
	}
	if id == o.Piece && o.Assembly > 0 {
		return text + " · " + s.t.Say("assembly %d, end %s", o.Assembly, o.End)
	}
	return text
}

// pieceOf says which piece the readings belong to, of how many.
func (s scene) pieceOf() string {
	o := s.View.Order
	ordered := o.Quantity
	if len(o.Ends) > 0 {
		ordered *= len(o.Ends)
	}
	n := pieceNumber(o.Piece)
	var text string
	switch {
	case n == 0 && ordered == 0:
		return s.t.Say("No piece yet")
	case n == 0:
		return s.t.Say("%d ordered", ordered)
	case ordered == 0:
		text = s.t.Say("Piece %d", n)
	case n <= ordered:
		text = s.t.Say("Piece %d of %d", n, ordered)
	default:
		text = s.t.Say("Piece %d, %d ordered", n, ordered)
	}
	if o.Crimp > 1 {
		text += s.t.Say(", crimp %d", o.Crimp)
	}
	return text
}

// hose is the drawing of an assembly with the end in hand filled.
type hose struct {
	Assembly int
	End      crimp.EndName
	Both     bool // the other end is crimped here too
	Text     string
}

// newHose is the assembly of the piece in hand, or of the next stroke before the
// first one; nil: the order is counted in single ends.
func (s scene) newHose() *hose {
	o := s.View.Order
	n, end := o.Assembly, o.End
	if n == 0 {
		n, end = o.Next, o.NextEnd
	}
	if n == 0 || end == crimp.NoEnd {
		return nil
	}
	return &hose{n, end, len(o.Ends) > 1, s.t.Say("assembly %d, end %s", n, end)}
}

// tally is what did not come out, in short.
func (s scene) tally() string {
	o := s.View.Order
	n := o.Tally[crimp.Scrap]
	if o.Job != nil {
		n = o.Lost
	}
	if n == 0 {
		return ""
	}
	return s.t.Say("%d scrap", n)
}

// point is the name of a point in the reader's language.
func (s scene) point(p string) string {
	switch p {
	case station.PointLength:
		return s.t.Say("length")
	case station.PointAngle:
		return s.t.Say("angle")
	case station.PointProof:
		return s.t.Say("proof test")
	case station.PointFirst:
		return s.t.Say("first piece")
	}
	return s.t.Sentence(strings.ReplaceAll(p, "-", " "))
}
