package report

// surface is what a picture is drawn on, in units of its own, y downwards: an SVG
// or a part of a PDF page.
type surface interface {
	stroke(how pen, through ...spot)
	mark(what shape, at spot, r float64)
	text(at spot, where anchor, bold bool, words string)
	long(words string) float64 // of a text, at most
}

// spot is a point of a picture.
type spot struct{ x, y float64 }

// pen is how a line is drawn. Each is told from the others without colour.
type pen string

// The pens.
const (
	penGrid  pen = "grid"  // hairline
	penAxis  pen = "axis"  // thin
	penLimit pen = "limit" // heavy
	penAim   pen = "aim"   // dotted
	penEdge  pen = "edge"  // dashed: between set-ups
	penMean  pen = "mean"  // medium
	penDrift pen = "drift" // dashed with dots
	penLink  pen = "link"  // thin: the crimps of one piece
)

// stroke is how wide a pen is and how it is broken, in units of the picture.
func (p pen) stroke() (width float64, dashes []float64, opacity float64) {
	switch p {
	case penGrid:
		return 1, nil, 0.3
	case penAxis:
		return 1.5, nil, 1
	case penLimit:
		return 4, nil, 1
	case penAim:
		return 2.5, []float64{2.5, 5}, 1
	case penEdge:
		return 1.5, []float64{10, 6}, 1
	case penMean:
		return 3, nil, 1
	case penDrift:
		return 2.5, []float64{12, 5, 2.5, 5}, 1
	case penLink:
		return 1.5, nil, 1
	}
	return 1, nil, 1
}

// shape is a mark. Each is told from the others without colour.
type shape string

// The shapes.
const (
	disc     shape = "within"  // full round
	square   shape = "again"   // full square
	triangle shape = "large"   // open triangle, its point up
	cross    shape = "scrap"   // two strokes
	diamond  shape = "unsure"  // open diamond
	ring     shape = "advised" // open round
)

// anchor is where a text lies to its spot.
type anchor string

// The anchors.
const (
	begins  anchor = "start"
	centred anchor = "middle"
	ends    anchor = "end"
)

// outline are the corners of a shape with straight sides around a spot; none for
// a round one.
func (s shape) outline(at spot, r float64) []spot {
	switch s {
	case square:
		a := r * 0.9
		return []spot{{at.x - a, at.y - a}, {at.x + a, at.y - a}, {at.x + a, at.y + a}, {at.x - a, at.y + a}}
	case triangle:
		return []spot{{at.x, at.y - r*1.2}, {at.x + r*1.15, at.y + r*0.8}, {at.x - r*1.15, at.y + r*0.8}}
	case diamond:
		a := r * 1.3
		return []spot{{at.x, at.y - a}, {at.x + a, at.y}, {at.x, at.y + a}, {at.x - a, at.y}}
	case disc, ring, cross:
		return nil
	}
	return nil
}

// full says whether a shape is filled.
func (s shape) full() bool { return s == disc || s == square }
