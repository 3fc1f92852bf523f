package stats

import (
	"math"
	"slices"
)

// AverageRange is a crossed study by the method of average and range, which
// needs no computer and knows no interaction. Percentages are of its own total.
type AverageRange struct {
	Repeatability          float64 `json:"repeatability_sd"`
	Reproducibility        float64 `json:"reproducibility_sd"`
	Gauge                  float64 `json:"gauge_sd"`
	Part                   float64 `json:"part_sd"`
	Total                  float64 `json:"total_sd"`
	PercentRepeatability   float64 `json:"percent_repeatability"`
	PercentReproducibility float64 `json:"percent_reproducibility"`
	PercentPart            float64 `json:"percent_part"`
	PercentStudy           float64 `json:"percent_study"`
	NDC                    int     `json:"ndc"`
}

// factor turns a range of n values into a standard deviation: 1 over the mean
// range when it is the mean of many ranges, else over √(d2² + d3²), the root of
// the mean square range, for the single range that it is. The manual's tables of
// K1, and of K2 and K3, have them to four digits (from memory), and so do we, for
// the results to be those of a hand computing. 0 where n is above 25.
func factor(n int, many bool) float64 {
	c, err := ConstantsOf(n)
	if err != nil {
		return 0
	}
	mean := c.RangeMean
	if !many {
		mean = math.Hypot(c.RangeMean, c.RangeSD)
	}
	return math.Round(1e4/mean) / 1e4
}

// averageRange is nil where there are more than 25 parts, appraisers or trials.
func (g *grid) averageRange() *AverageRange {
	k1, k2, k3 := factor(g.trials, true), factor(len(g.appraisers), false), factor(len(g.parts), false)
	if k1 == 0 || k2 == 0 || k3 == 0 {
		return nil
	}
	mean := 0.0
	for _, cells := range g.cells {
		for _, values := range cells { // sorted
			mean += values[len(values)-1] - values[0]
		}
	}
	mean /= float64(len(g.parts) * len(g.appraisers))
	var r AverageRange
	r.Repeatability = k1 * mean
	between := k2 * width(g.appraiserMean)
	r.Reproducibility = math.Sqrt(max(0, between*between-r.Repeatability*r.Repeatability/float64(len(g.parts)*g.trials)))
	r.Gauge = math.Hypot(r.Repeatability, r.Reproducibility)
	r.Part = k3 * width(g.partMean)
	r.Total = math.Hypot(r.Gauge, r.Part)
	r.PercentRepeatability, r.PercentReproducibility = 100*(r.Repeatability/r.Total), 100*(r.Reproducibility/r.Total)
	r.PercentPart, r.PercentStudy = 100*(r.Part/r.Total), 100*(r.Gauge/r.Total)
	r.NDC = categories(r.Part, r.Gauge)
	return &r
}

// width is the largest less the smallest.
func width(values []float64) float64 { return slices.Max(values) - slices.Min(values) }
