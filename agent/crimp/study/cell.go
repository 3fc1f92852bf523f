package study

import (
	"math"

	"benchtally/agent/crimp"
)

// Cell is one press of the study and what our policies are told of it.
type Cell struct {
	Case string // which table it belongs to
	Press
	Told    crimp.Model // configured, where figures are told
	Before  int         // set-ups that teach, and do not count
	Counted int         // set-ups that count

	fails float64 // share of the second strokes that fail, as the shop counted it before; 0: nobody counted
}

// Cases of the study beside the grid, where what ours assumes does not hold.
const (
	grid     = "grid"
	second   = "second stroke"
	firstFew = "first set-ups"
)

// settled is how many set-ups teach before the counting begins: as many as are
// kept.
const settled = crimp.LessonsKept

// cell is a press whose figures are told as they are. A caliper's error that a
// set-up shares is one with its offset; a steady wear is not in the model and is
// not told.
func cell(name string, p Press) Cell {
	counts := func(x float64) float64 { return x * float64(count) }
	return Cell{Case: name, Press: p, Before: settled, Counted: 8, Told: crimp.Model{
		PriorKnown: true, PriorMean: counts(p.Mean), Prior: counts(math.Hypot(p.Between, p.Bias)),
		Noise: counts(math.Hypot(p.Noise, reading)), Drift: counts(p.Drift),
	}}
}

// Shares are those of the noise that may be the piece's own.
var Shares = []float64{0, 0.5, 1}

// Grid are the presses that behave as ours assumes, but for the wear of half of
// them: every combination of these figures. Every stroke has a noise of its own,
// the worst case; where that matters most, at the noise of 2, the other shares
// are there too.
func Grid() (cells []Cell) {
	for _, between := range []float64{0, 1, 3, 10} {
		for _, noise := range []float64{0.5, 1, 2} {
			for _, own := range Shares {
				if own > 0 && noise < 2 {
					continue
				}
				for _, drift := range []float64{0, 0.1, 0.3} {
					for _, wear := range []float64{0, 0.05} {
						for _, bias := range []float64{0, 0.5} {
							for _, pieces := range []int{6, 20, 50} {
								cells = append(cells, cell(grid, Press{
									Between: between, Noise: noise, Own: own, Drift: drift, Wear: wear, Bias: bias, Pieces: pieces,
								}))
							}
						}
					}
				}
			}
		}
	}
	return cells
}

// usual is the press from which the other cases depart.
var usual = Press{Between: 3, Noise: 1, Drift: 0.1, Pieces: 20}

// Others are the presses that do not behave as ours assumes, each in one
// respect, then those that show the second stroke and the first set-ups.
func Others() (cells []Cell) {
	depart := func(name string, press func(*Press), told func(*crimp.Model)) {
		p := usual
		if press != nil {
			press(&p)
		}
		c := cell(name, p)
		if told != nil {
			told(&c.Told)
		}
		cells = append(cells, c)
	}
	toldNoise := func(m *crimp.Model) { m.Noise = cell("", usual).Told.Noise }
	depart("as assumed", nil, nil)
	depart("outliers", func(p *Press) { p.Outliers = 0.05 }, nil)
	depart("shift of 4", func(p *Press) { p.Shift = 4 }, nil)
	depart("wear of 0.2", func(p *Press) { p.Wear = 0.2 }, nil)
	depart("noise 0.3 told as 1", func(p *Press) { p.Noise = 0.3 }, toldNoise)
	depart("noise 3 told as 1", func(p *Press) { p.Noise = 3 }, toldNoise)
	depart("spread 5 told as 1", func(p *Press) { p.Between = 5 }, func(m *crimp.Model) { m.Prior = float64(count) })
	depart("drift 0.3 told as 0", func(p *Press) { p.Drift, p.Pieces = 0.3, 50 }, func(m *crimp.Model) { m.Drift = 0 })
	depart("cage 3 off told as 0", func(p *Press) { p.Mean, p.Between = 3, 1 }, func(m *crimp.Model) { m.PriorMean = 0 })
	depart("2 pieces a set-up", func(p *Press) { p.Pieces = 2 }, nil)
	depart("1 piece a set-up", func(p *Press) { p.Pieces = 1 }, nil)
	for _, between := range []float64{0, 1, 3, 10} {
		for _, noise := range []float64{0.5, 1, 2} {
			for _, own := range Shares {
				depart(second, func(p *Press) { p.Between, p.Noise, p.Own = between, noise, own }, nil)
			}
		}
	}
	for _, before := range []int{0, 5, settled} {
		c := cell(firstFew, Press{Mean: 3, Between: 1, Noise: 1, Drift: 0.1, Pieces: 20})
		c.Before = before
		if before < settled {
			c.Counted = 5
		}
		cells = append(cells, c)
	}
	return cells
}
