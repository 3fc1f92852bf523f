package study

import (
	"math"

	"benchtally/agent/crimp"
)

// Tally counts what became of the pieces of a shop.
type Tally struct {
	Pieces  int
	Good    int // judged within limits
	Scrap   int
	Seconds int // second strokes
	Fails   int // those after which the end is scrap
	Changes int // strokes at another setting than the stroke before; a set-up begins at the sheet's
	Escapes int // judged within limits, and truly outside
}

// finish counts a piece that needs no further stroke.
func (t *Tally) finish(strokes int, pass, outside bool) {
	if !pass {
		t.Scrap++
		if strokes > 1 {
			t.Fails++
		}
		return
	}
	t.Good++
	if outside {
		t.Escapes++
	}
}

func sum(shops []Tally) (all Tally) {
	for _, t := range shops {
		all.Pieces += t.Pieces
		all.Good += t.Good
		all.Scrap += t.Scrap
		all.Seconds += t.Seconds
		all.Fails += t.Fails
		all.Changes += t.Changes
		all.Escapes += t.Escapes
	}
	return all
}

// Ratio is what an end that is scrap costs, also after a second stroke; a second
// stroke costs 1, and a change of the setting nothing.
type Ratio float64

// Ratios are those of the study.
var Ratios = []Ratio{3, 20}

// costs is the ratio as the agent is told it. Of the second strokes a share
// fails; then it costs the scrap too, and to be told so is to be told more for a
// second stroke. The share 0 tells the bare stroke.
func (r Ratio) costs(fails float64) crimp.Costs {
	return crimp.Costs{Shape: crimp.AtLimits, Scrap: float64(r), Stroke: 1 + float64(fails*float64(r))}
}

func (r Ratio) of(t Tally) float64 { return float64(float64(r)*float64(t.Scrap)) + float64(t.Seconds) }

// Figure is an estimate with its standard error.
type Figure struct{ Value, SE float64 }

// Cost is what 100 good pieces cost, in second strokes, from shops that are
// independent of one another. It is a ratio of two sums, and its standard error
// that of the shops' cost − ratio·good (linearized; from memory).
func (r Ratio) Cost(shops []Tally) Figure {
	value, rests := r.rests(shops)
	return Figure{value, standardError(rests)}
}

// More is how much more a costs than b. Both met the same chances, and the
// standard error is that of the paired differences.
func (r Ratio) More(a, b []Tally) Figure {
	value, rests := r.rests(a)
	other, others := r.rests(b)
	for i := range rests {
		rests[i] -= others[i]
	}
	return Figure{value - other, standardError(rests)}
}

// apparent is by how many standard errors a difference is more than chance, in the
// report's words.
const apparent = 3

// seen says whether a difference is more than so many standard errors and so
// many ends that are scrap. Where scrap is rare, those that by chance did not
// come are not in the standard error.
func (r Ratio) seen(more Figure, errors float64) bool {
	return math.Abs(more.Value) > errors*(more.SE+float64(100*r/pieces))
}

// rests are the cost of 100 good pieces and what each shop costs beyond it.
func (r Ratio) rests(shops []Tally) (value float64, rests []float64) {
	all := sum(shops)
	each := r.of(all) / float64(all.Good)
	mean := float64(all.Good) / float64(len(shops))
	rests = make([]float64, len(shops))
	for i, t := range shops {
		rests[i] = 100 * (r.of(t) - float64(each*float64(t.Good))) / mean
	}
	return 100 * each, rests
}

// standardError is that of the mean of values about 0.
func standardError(values []float64) float64 {
	squares, n := 0.0, float64(len(values))
	for _, v := range values {
		squares += float64(v * v)
	}
	return math.Sqrt(squares / (n - 1) / n)
}
