package stats

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
)

// GaugeReading is one reading of a gauge study: who read which part.
type GaugeReading struct {
	Part, Appraiser string
	Value           float64
}

// Source is one row of an analysis of variance.
type Source struct {
	Source string   `json:"source"`
	DF     int      `json:"df"`
	SS     float64  `json:"ss"`
	MS     *float64 `json:"ms,omitempty"`
	F      *float64 `json:"f,omitempty"`
	P      *float64 `json:"p,omitempty"`
}

// Crossed is a gauge study in which each appraiser reads each part equally
// often, taken apart by analysis of variance into what the parts, the
// appraisers and the repeats scatter. All of it is random: the parts stand for
// what is made, the appraisers for all who measure.
type Crossed struct {
	Parts      int `json:"parts"`
	Appraisers int `json:"appraisers"`
	Trials     int `json:"trials"`

	ANOVA       []Source `json:"anova"`       // part, appraiser, interaction, repeatability, pooled if so, total
	Interaction string   `json:"interaction"` // kept or pooled
	// Standard deviations.
	Repeatability   float64 `json:"repeatability_sd"`   // the same appraiser and part, again
	AppraiserSD     float64 `json:"appraiser_sd"`       // between appraisers
	InteractionSD   float64 `json:"interaction_sd"`     // of appraisers who differ from part to part
	Reproducibility float64 `json:"reproducibility_sd"` // the two together
	Gauge           float64 `json:"gauge_sd"`           // with repeatability
	Part            float64 `json:"part_sd"`
	Total           float64 `json:"total_sd"`
	// 100 times the standard deviation over the total.
	PercentRepeatability   float64 `json:"percent_repeatability"`
	PercentReproducibility float64 `json:"percent_reproducibility"`
	PercentPart            float64 `json:"percent_part"`
	PercentStudy           float64 `json:"percent_study"` // of the gauge
	NDC                    int     `json:"ndc"`           // number of distinct categories
	Reading                string  `json:"reading"`       // what percent_study means, in words

	AverageRange *AverageRange `json:"average_range,omitempty"` // the older method, up to 25 of each
}

// poolAbove is the p value of the interaction above which it goes into the
// error (automotive manual, from memory; some packages have 0.05).
const poolAbove = 0.25

// CrossedOf takes a crossed study apart. The order of the readings does not
// matter. It needs two parts, two appraisers and two trials, and as many readings
// in each cell; an error names every cell that has another number.
//
// Components of variance follow from the mean squares (automotive manual, from
// memory; Montgomery, Introduction to Statistical Quality Control, from memory).
// Parts and appraisers are tested against the interaction while it is kept, else
// against the pooled error; a component that comes out negative is 0.
func CrossedOf(rows []GaugeReading) (Crossed, error) {
	g, err := gridOf(rows)
	if err != nil {
		return Crossed{}, err
	}
	p, a, r := float64(len(g.parts)), float64(len(g.appraisers)), float64(g.trials)
	var part, appraiser, inter, rep sum
	part.df, appraiser.df = len(g.parts)-1, len(g.appraisers)-1
	inter.df, rep.df = part.df*appraiser.df, len(g.parts)*len(g.appraisers)*(g.trials-1)
	for i := range g.parts {
		part.ss += a * r * g.partMean[i] * g.partMean[i]
		for j := range g.appraisers {
			mean := g.cellMean(i, j)
			d := mean - g.partMean[i] - g.appraiserMean[j]
			inter.ss += r * d * d
			for _, v := range g.cells[i][j] {
				rep.ss += (v - mean) * (v - mean)
			}
		}
	}
	for j := range g.appraisers {
		appraiser.ss += p * r * g.appraiserMean[j] * g.appraiserMean[j]
	}
	if !(rep.ss > 0) || !finite(rep.ss+part.ss+appraiser.ss) {
		return Crossed{}, errors.New("the readings hardly differ, or differ beyond all measure: nothing can be told apart")
	}
	total := sum{part.ss + appraiser.ss + inter.ss + rep.ss, part.df + appraiser.df + inter.df + rep.df}

	interRow := inter.against("interaction", rep)
	c := Crossed{Parts: len(g.parts), Appraisers: len(g.appraisers), Trials: g.trials, Interaction: "kept"}
	within, between := rep, inter // what repeats scatter, and what parts and appraisers are tested against
	var pooled []Source
	if interRow.P != nil && *interRow.P > poolAbove {
		c.Interaction = "pooled"
		within = sum{inter.ss + rep.ss, inter.df + rep.df}
		between = within
		pooled = []Source{within.row("pooled")}
	}
	c.ANOVA = append([]Source{part.against("part", between), appraiser.against("appraiser", between), interRow, rep.row("repeatability")}, pooled...)
	c.ANOVA = append(c.ANOVA, Source{Source: "total", DF: total.df, SS: total.ss})

	root := func(variance float64) float64 { return math.Sqrt(max(0, variance)) }
	c.Repeatability = root(within.ms())
	c.AppraiserSD = root((appraiser.ms() - between.ms()) / (p * r))
	c.InteractionSD = root((between.ms() - within.ms()) / r)
	c.Part = root((part.ms() - between.ms()) / (a * r))
	c.Reproducibility = math.Hypot(c.AppraiserSD, c.InteractionSD)
	c.Gauge = math.Hypot(c.Repeatability, c.Reproducibility)
	c.Total = math.Hypot(c.Gauge, c.Part)
	c.PercentRepeatability, c.PercentReproducibility = 100*(c.Repeatability/c.Total), 100*(c.Reproducibility/c.Total)
	c.PercentPart, c.PercentStudy = 100*(c.Part/c.Total), 100*(c.Gauge/c.Total)
	c.NDC = categories(c.Part, c.Gauge)
	c.Reading = bandOf(c.PercentStudy)
	c.AverageRange = g.averageRange()
	return c, nil
}

// categories is how many groups of parts the gauge can tell apart, at least 1:
// 1.41 times the parts' over the gauge's scatter (automotive manual, from memory).
func categories(part, gauge float64) int {
	return int(min(max(1, math.Floor(1.41*part/gauge)), math.MaxInt32))
}

// bandOf says in words in which band a percentage lies. The bands are those of
// the automotive manual (from memory), its names for them are not: what they
// mean at a press is the shop's to decide.
func bandOf(percent float64) string {
	switch {
	case percent < 10:
		return "below 10 %: the gauge adds little to the scatter of the parts"
	case percent <= 30:
		return "10 to 30 %: the gauge adds to the scatter of the parts"
	}
	return "above 30 %: the gauge adds much to the scatter of the parts, small differences between them are hidden"
}

// sum is a sum of squares with its degrees of freedom.
type sum struct {
	ss float64
	df int
}

func (s sum) ms() float64 { return s.ss / float64(s.df) }

func (s sum) row(name string) Source {
	return Source{Source: name, DF: s.df, SS: s.ss, MS: new(s.ms())}
}

// against is the row with its test against an error; without F and p where the
// error is nothing.
func (s sum) against(name string, e sum) Source {
	row := s.row(name)
	if f := s.ms() / e.ms(); finite(f) {
		row.F, row.P = &f, new(fisherP(f, float64(s.df), float64(e.df)))
	}
	return row
}

// grid is a study in order: parts and appraisers sorted by name, values less the
// grand mean, so that 30.48 mm with a scatter of micrometres loses no digits.
type grid struct {
	parts, appraisers       []string
	trials                  int
	cells                   [][][]float64 // by part and appraiser, each sorted
	partMean, appraiserMean []float64
}

// gridOf puts the readings in order and refuses a study that is not whole.
func gridOf(rows []GaugeReading) (*grid, error) {
	type cell struct{ part, appraiser string }
	cells := map[cell][]float64{}
	parts, appraisers := map[string]bool{}, map[string]bool{}
	for i, row := range rows {
		if !finite(row.Value) {
			return nil, fmt.Errorf("reading %d is %g: want a measured value", i+1, row.Value)
		}
		parts[row.Part], appraisers[row.Appraiser] = true, true
		at := cell{row.Part, row.Appraiser}
		cells[at] = append(cells[at], row.Value)
	}
	g := &grid{parts: named(parts), appraisers: named(appraisers)}
	switch {
	case len(rows) == 0:
		return nil, errors.New("no readings: want two parts or more, each read twice or more by two appraisers or more")
	case len(g.appraisers) < 2:
		return nil, fmt.Errorf("all readings are by appraiser %q: want two appraisers or more, or a type-1 study of one part", g.appraisers[0])
	case len(g.parts) < 2:
		return nil, fmt.Errorf("all readings are of part %q: want two parts or more, better ten", g.parts[0])
	}
	sizes := map[int]int{}
	for _, values := range cells {
		sizes[len(values)]++
	}
	// What most cells have is what all should have; of two equally frequent
	// numbers the larger one.
	for n, count := range sizes {
		if best := sizes[g.trials]; count > best || count == best && n > g.trials {
			g.trials = n
		}
	}
	var faults []error
	silent := true // no scatter within any cell
	mean := 0.0
	for _, part := range g.parts {
		var column [][]float64
		for _, appraiser := range g.appraisers {
			values := cells[cell{part, appraiser}]
			if len(values) != g.trials {
				faults = append(faults, fmt.Errorf("part %q, appraiser %q: %s, the others have %d", part, appraiser, counted(len(values), "reading"), g.trials))
				continue
			}
			slices.Sort(values)
			silent = silent && values[0] == values[len(values)-1]
			for _, v := range values {
				mean += v / float64(len(rows))
			}
			column = append(column, values)
		}
		g.cells = append(g.cells, column)
	}
	switch {
	case len(faults) > 0:
		const most = 20
		if more := len(faults) - most; more > 0 {
			faults = append(faults[:most], fmt.Errorf("and %s", counted(more, "more such cell")))
		}
		return nil, fmt.Errorf("each appraiser must read each part equally often: measure what is missing, or leave the part or appraiser out\n%w", errors.Join(faults...))
	case g.trials < 2:
		return nil, errors.New("each part was read once by each appraiser, so repeatability cannot be told from interaction: read each part twice or more")
	case silent:
		return nil, errors.New("every repeat is exactly like the first reading, so there is no repeatability to compute: read with a finer resolution, and read afresh each time")
	}
	g.centre(mean)
	return g, nil
}

// centre takes the grand mean off all values, twice for the sake of its own
// rounding, and computes the means.
func (g *grid) centre(mean float64) {
	for range 2 {
		rest := 0.0
		g.partMean, g.appraiserMean = make([]float64, len(g.parts)), make([]float64, len(g.appraisers))
		for i := range g.parts {
			for j := range g.appraisers {
				for k := range g.cells[i][j] {
					g.cells[i][j][k] -= mean
				}
				m := g.cellMean(i, j)
				g.partMean[i] += m / float64(len(g.appraisers))
				g.appraiserMean[j] += m / float64(len(g.parts))
				rest += m / float64(len(g.parts)*len(g.appraisers))
			}
		}
		mean = rest
	}
}

func (g *grid) cellMean(i, j int) float64 {
	total := 0.0
	for _, v := range g.cells[i][j] {
		total += v
	}
	return total / float64(g.trials)
}

// named sorts names, numbers by their size.
func named(set map[string]bool) []string {
	return slices.SortedFunc(maps.Keys(set), func(a, b string) int {
		x, errA := strconv.Atoi(a)
		y, errB := strconv.Atoi(b)
		if errA == nil && errB == nil {
			return cmp.Or(cmp.Compare(x, y), cmp.Compare(a, b))
		}
		return cmp.Compare(a, b)
	})
}
