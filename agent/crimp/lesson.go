package crimp

import (
	"math"
	"slices"
)

// How much must have been measured before it teaches, our own rules: fewer
// pieces or set-ups say more about chance than about the cage.
const (
	lessonFirst       = 3  // first crimps, at most, that a set-up's first offset comes from
	lessonSetUps      = 5  // set-ups that make a prior
	lessonFirsts      = 15 // first crimps, of those that the first offsets come from, that make it
	lessonDifferences = 30 // differences of successive pieces that make the noise
	lessonPairs       = 5  // pairs of blocks that may prove a drift
	block             = 8  // pieces of a block
)

// LessonsKept is how many of the latest set-ups teach about a cage.
const LessonsKept = 16

// Lesson is what one set-up of a cage for one specification taught, from the
// offsets of its first crimps in their order. Its zero value is a set-up that
// has not begun. Everything is in nanometres; sums are of squares.
type Lesson struct {
	Line  Line    `json:"line"`  // that the offsets are measured against
	N     int     `json:"n"`     // first crimps measured
	First float64 `json:"first"` // mean offset of the first of them, at most three

	Differences int     `json:"differences,omitempty"`
	Differing   float64 `json:"differing,omitempty"` // of differences from piece to piece

	Pairs   int     `json:"pairs,omitempty"`   // pairs of successive blocks
	Between float64 `json:"between,omitempty"` // between the blocks of a pair, one degree of freedom each
	Within  float64 `json:"within,omitempty"`  // within the blocks, 14 degrees each pair
	Strokes int     `json:"strokes,omitempty"` // from the first to the last piece of each pair

	Last   float64     `json:"last,omitempty"` // offset of the latest piece
	Begun  int         `json:"begun,omitempty"`
	Blocks [2]blockSum `json:"blocks,omitzero"` // of the pair that is not yet whole
}

// blockSum is a block that is being filled: count, mean and the sum of squares
// about it (Welford 1962).
type blockSum struct {
	N    int     `json:"n"`
	Mean float64 `json:"mean"`
	Sum  float64 `json:"sum"`
}

func (b *blockSum) add(x float64) {
	b.N++
	d := x - b.Mean
	b.Mean += d / float64(b.N)
	b.Sum += float64(d * (x - b.Mean))
}

// Add takes in the next first crimp: its offset and the cage's count of strokes.
func (l *Lesson) Add(offset float64, stroke int) {
	if l.N > 0 {
		d := offset - l.Last
		l.Differences++
		l.Differing += float64(d * d)
	}
	l.N++
	l.Last = offset
	if l.N <= lessonFirst {
		l.First += (offset - l.First) / float64(l.N)
	}
	if l.Blocks[0].N == 0 {
		l.Begun = stroke
	}
	if l.Blocks[0].N < block {
		l.Blocks[0].add(offset)
		return
	}
	if l.Blocks[1].add(offset); l.Blocks[1].N < block {
		return
	}
	d := l.Blocks[1].Mean - l.Blocks[0].Mean
	l.Pairs++
	l.Between += float64(d*d) * block / 2
	l.Within += l.Blocks[0].Sum + l.Blocks[1].Sum
	l.Strokes += stroke - l.Begun
	l.Blocks = [2]blockSum{}
}

// Move measures the lesson against another line of the same step.
func (l *Lesson) Move(to Line) {
	by := float64(l.Line.Zero - to.Zero)
	l.Line = to
	l.First += by
	l.Last += by
	for i := range l.Blocks {
		l.Blocks[i].Mean += by
	}
}

// Known is what earlier set-ups taught. Its zero value is nothing: then the
// configured figures hold.
type Known struct {
	SetUps int     `json:"set_ups,omitempty"` // that the prior comes from; 0: none
	Offset float64 `json:"offset,omitempty"`  // expected of the first offset, nanometres
	SD     float64 `json:"sd,omitempty"`      // its standard deviation

	Differences int     `json:"differences,omitempty"` // that the noise comes from; 0: none
	Noise       float64 `json:"noise,omitempty"`       // nanometres

	Pairs int     `json:"pairs,omitempty"` // of blocks that prove a drift; 0: none is proved
	Drift float64 `json:"drift,omitempty"` // nanometres a stroke
}

// Learn says what the set-ups before teach about the next one, whose offset is
// measured against line. Lessons of another step are not heard. The rules are our
// own, with the statistics they rest on:
//
//   - First offset: of each set-up the mean of its first crimps, three at most,
//     because later ones may have drifted away. It takes at least 5 set-ups and
//     15 such crimps: 5 set-ups of 3 pieces, or 8 of 2, or 15 of one. Expected is
//     the mean of their first offsets; the variance is that of a further one,
//     s²(1+1/m)·(m−1)/(m−3), the last factor being the variance of Student's t
//     with m−1 degrees. A first offset farther from their median than 3.3 of the
//     deviations that their median absolute deviation stands for (1.4826 of it
//     for a normal distribution, and a count at least) was a mistake, such as a
//     setting told wrong, and is left out.
//   - Noise: from at least 30 differences of successive first crimps, σ² = Σd²/2n,
//     which no constant offset and hardly a slow drift can disturb (von Neumann
//     and others 1941; from memory).
//   - Drift: pairs of successive blocks of 8 pieces. Without a drift the mean
//     square between the blocks of a pair and that within them have the same
//     expectation. It is taken for proved, from 5 pairs on, when the first is
//     larger by more than 3.3 standard deviations √(15/7p) of their ratio
//     without a drift. For a random walk of variance q per piece they expect
//     σ² + q·(2·8²+1)/6 and σ² + q·(8+1)/6, so q is their difference over 20.
//
// No deviation is taken for smaller than the rounding of a count, step/√12.
func Learn(lessons []Lesson, line Line) Known {
	var k Known
	var sum Lesson
	var firsts []first
	for _, l := range lessons {
		if l.Line.Step != line.Step {
			continue
		}
		if l.N > 0 {
			l.Move(line)
			firsts = append(firsts, first{l.First, min(l.N, lessonFirst)})
		}
		sum.Differences += l.Differences
		sum.Differing += l.Differing
		sum.Pairs += l.Pairs
		sum.Between += l.Between
		sum.Within += l.Within
		sum.Strokes += l.Strokes
	}
	least := float64(line.Step.Abs()) / math.Sqrt(12)
	var all blockSum
	crimps := 0
	for _, f := range likely(firsts, float64(line.Step.Abs())) {
		all.add(f.offset)
		crimps += f.crimps
	}
	if m := float64(all.N); m >= lessonSetUps && crimps >= lessonFirsts {
		variance := all.Sum / (m - 1) * (1 + 1/m) * (m - 1) / (m - 3)
		k.SetUps, k.Offset, k.SD = all.N, all.Mean, max(math.Sqrt(variance), least)
	}
	if sum.Differences < lessonDifferences {
		return k
	}
	noise := sum.Differing / float64(2*sum.Differences)
	if p := float64(sum.Pairs); p >= lessonPairs && sum.Strokes > 0 {
		between, within := sum.Between/p, sum.Within/float64(p*(2*block-2))
		if between > within*(1+float64(3.3*math.Sqrt(15/(7*p)))) {
			piece := (between - within) / (block * (2*block - 1) / 6.0) // variance of the walk, a piece
			stroke := piece * p * (2*block - 1) / float64(sum.Strokes)  // and a stroke
			k.Pairs, k.Drift = sum.Pairs, math.Sqrt(stroke)
			noise = within - float64(piece*(block+1)/6)
		}
	}
	k.Differences, k.Noise = sum.Differences, max(math.Sqrt(max(noise, 0)), least)
	return k
}

// first is the first offset of a set-up and how many crimps it is the mean of.
type first struct {
	offset float64
	crimps int
}

// likely are the first offsets that are no mistake; no standard deviation below
// that of a count is believed.
func likely(all []first, count float64) []first {
	if len(all) == 0 {
		return nil
	}
	offsets := make([]float64, len(all))
	for i, f := range all {
		offsets[i] = f.offset
	}
	middle := median(offsets)
	for i, f := range all {
		offsets[i] = math.Abs(f.offset - middle)
	}
	limit := doubt * max(1.4826*median(offsets), count)
	return slices.DeleteFunc(slices.Clone(all), func(f first) bool { return math.Abs(f.offset-middle) > limit })
}

// median sorts its values and returns the middle one, or the mean of the two.
func median(x []float64) float64 {
	slices.Sort(x)
	n := len(x)
	return (x[(n-1)/2] + x[n/2]) / 2
}

// With is the model with what was learned in place of what was configured.
func (m Model) With(k Known) Model {
	if k.SetUps > 0 {
		m.PriorKnown, m.PriorMean, m.Prior, m.Learned = true, k.Offset, k.SD, true
	}
	if k.Differences > 0 {
		m.Noise = k.Noise
	}
	if k.Pairs > 0 {
		m.Drift = k.Drift
	}
	return m
}
