package report

import (
	"slices"
	"strconv"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// Series is what pictures are drawn of: crimps that were judged, by their
// strokes, the oldest first.
type Series struct {
	Crimps []Crimp
	Next   *Advice // for the next piece; nil: nothing is advised
}

// Crimp is one crimp of a series. Lengths are nanometres.
type Crimp struct {
	Order     string
	Piece     string
	N         int // number of the piece
	Crimp     int // 1 the first on this piece
	Spec      crimp.Spec
	SetUp     int
	Stroke    int // the cage's count
	Setting   int
	Deviation float64 // mean minus target
	Offset    float64 // mean minus what the setting should give
	Outcome   crimp.Outcome
	Advice    *Advice // that it followed, or did not; nil: there was none
}

// Advice is a setting that was advised.
type Advice struct {
	Seq     uint64 // of the correction
	Order   string
	Piece   string // that was judged before it; "": not told
	Again   bool   // for crimping the same piece again
	Setting int
	Aim     crimp.Length // above the target
}

// SeriesOf is a series of what was judged, of one cage, with what had been advised
// before each stroke. Both are in the order of their seq. What was advised after a
// piece that is not among them is of another cage, and is left out.
func SeriesOf(judged []station.Judged, advice []Advice) Series {
	var s Series
	pieces := map[string]bool{"": true}
	for _, j := range judged {
		pieces[j.Piece] = true
	}
	advice = slices.DeleteFunc(slices.Clone(advice), func(a Advice) bool { return !pieces[a.Piece] })
	latest := map[bool]*Advice{}   // by Again
	crimped := map[string]uint64{} // seq of the latest crimp, by piece
	i := 0
	for _, j := range judged {
		for ; i < len(advice) && advice[i].Seq < j.Seq; i++ {
			latest[advice[i].Again] = &advice[i]
		}
		c := Crimp{
			Order: j.Order, Piece: j.Piece, N: numberOf(j.Piece), Crimp: j.Crimp, Spec: j.Spec, SetUp: j.SetUp, Stroke: j.Stroke,
			Setting: j.Setting, Deviation: j.Deviation(), Offset: j.Offset, Outcome: j.Outcome,
		}
		if a := latest[j.Crimp > 1]; a != nil && a.Order == j.Order && (!a.Again || a.Piece == j.Piece && a.Seq > crimped[j.Piece]) {
			c.Advice = a
		}
		crimped[j.Piece] = j.Seq
		s.Crimps = append(s.Crimps, c)
	}
	for ; i < len(advice); i++ {
		latest[advice[i].Again] = &advice[i]
	}
	if n := len(judged); n > 0 && latest[false] != nil && latest[false].Order == judged[n-1].Order {
		s.Next = latest[false]
	}
	return s
}

// SeriesOfDossier is the series of one order, for its papers, whatever its cages.
func SeriesOfDossier(d *station.Dossier) Series {
	var s Series
	for _, p := range d.Pieces {
		for i, c := range p.Crimps {
			if c.Outcome == "" || len(c.Readings) == 0 {
				continue
			}
			s.Crimps = append(s.Crimps, Crimp{
				Order: d.Order, Piece: p.ID, N: p.N, Crimp: i + 1, Spec: p.Spec, SetUp: c.SetUp, Stroke: c.Stroke, Setting: c.Setting,
				Deviation: float64(c.Deviation), Offset: float64(c.Offset), Outcome: c.Outcome,
			})
			if c.Advised >= 0 {
				s.Crimps[len(s.Crimps)-1].Advice = &Advice{Order: d.Order, Again: i > 0, Setting: c.Advised}
			}
		}
	}
	return s
}

// numberOf is the number of a piece by its id, <order>/<n>.
func numberOf(piece string) int {
	n, _ := strconv.Atoi(piece[strings.LastIndexByte(piece, '/')+1:]) // 0 where it has none
	return n
}

// last are the latest crimps of no more pieces than this.
func (s Series) last(pieces int) []Crimp {
	seen := map[string]bool{}
	for i := len(s.Crimps) - 1; i >= 0; i-- {
		seen[s.Crimps[i].Piece] = true
		if len(seen) > pieces {
			return s.Crimps[i+1:]
		}
	}
	return s.Crimps
}

// cages are those that the crimps were made with, in their order.
func (s Series) cages() []string {
	var all []string
	for _, c := range s.Crimps {
		if !slices.Contains(all, c.Spec.Cage) {
			all = append(all, c.Spec.Cage)
		}
	}
	return all
}

// of are the crimps of a cage.
func (s Series) of(cage string) Series {
	var some Series
	for _, c := range s.Crimps {
		if c.Spec.Cage == cage {
			some.Crimps = append(some.Crimps, c)
		}
	}
	return some
}

// unlabelled is a series that does not name its order: the paper does.
func (s Series) unlabelled() Series {
	crimps := make([]Crimp, len(s.Crimps))
	for i, c := range s.Crimps {
		c.Order = ""
		crimps[i] = c
	}
	return Series{Crimps: crimps, Next: s.Next}
}
