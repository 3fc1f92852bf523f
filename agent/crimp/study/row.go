package study

import (
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// header names the columns of the table. Costs are of 100 good pieces, in
// second strokes. "more" is what the policy costs more than ours, learned and
// aiming at the target, or learned and aiming by that cost, with the standard
// error of the paired difference.
const header = keyHeader + ",policy,scrap per 1000 good,second strokes per 1000 good,second strokes that fail per 1000 good,changes per 100 pieces," +
	"escapes per 1000 good,cost 3:1,se,more than target,se,more than aimed,se,cost 20:1,se,more than target,se,more than aimed,se"

const keyHeader = "case,mean,between,noise,own,drift,wear,bias,before,pieces"

// Columns of the table.
const (
	columnCase = iota
	columnMean
	columnBetween
	columnNoise
	columnOwn
	columnDrift
	columnWear
	columnBias
	columnBefore
	columnPieces
	columnPolicy
	columnScrap
	columnSeconds
	columnFails
	columnChanges
	columnEscapes
	columnCost // six columns for each of the ratios
)

// key is the cell in the table, and what its chances are drawn from.
func (c Cell) key() string {
	return fmt.Sprintf("%s,%g,%g,%g,%g,%g,%g,%g,%d,%d",
		c.Case, c.Mean, c.Between, c.Noise, c.Own, c.Drift, c.Wear, c.Bias, c.Before, c.Pieces)
}

// rows are the lines of a cell, with their ends.
func (c Cell) rows(r Results) string {
	var b strings.Builder
	for _, p := range c.Policies() {
		shops := r[p.Name]
		t := sum(shops)
		good := float64(t.Good)
		fmt.Fprintf(&b, "%s,%s,%.2f,%.2f,%.2f,%.1f,%.2f", c.key(), p.Name, 1000*float64(t.Scrap)/good,
			1000*float64(t.Seconds)/good, 1000*float64(t.Fails)/good, 100*float64(t.Changes)/float64(t.Pieces), 1000*float64(t.Escapes)/good)
		for _, ratio := range Ratios {
			for _, f := range []Figure{ratio.Cost(shops), ratio.More(shops, r[Learned]), ratio.More(shops, r[ratio.Aimed(Learned)])} {
				fmt.Fprintf(&b, ",%.3f,%.3f", f.Value, f.SE)
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// Row is a line of the table.
type Row []string

// Table is the table, read back.
type Table []Row

// parse reads a table.
func parse(text string) (Table, error) {
	lines, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 || strings.Join(lines[0], ",") != header {
		return nil, fmt.Errorf("the table has other columns than %q", header)
	}
	var t Table
	for _, l := range lines[1:] {
		t = append(t, l)
	}
	return t, nil
}

// find is the line of a policy in a cell; nil: there is none.
func (t Table) find(c Cell, policy string) Row {
	key := strings.Split(c.key(), ",")
	i := slices.IndexFunc(t, func(r Row) bool {
		return r[columnPolicy] == policy && slices.Equal(r[:columnPolicy], Row(key))
	})
	if i < 0 {
		return nil
	}
	return t[i]
}

// number is a figure of the line; not a number where there is none.
func (r Row) number(column int) float64 {
	if r == nil {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		return math.NaN()
	}
	return x
}

// cost is what 100 good pieces cost by a ratio.
func (r Row) cost(ratio Ratio) Figure {
	i := columnCost + 6*slices.Index(Ratios, ratio)
	return Figure{r.number(i), r.number(i + 1)}
}

// more is what they cost more than with ours, learned, at the target or aimed by
// the cost.
func (r Row) more(ratio Ratio, aimed bool) Figure {
	i := columnCost + 2 + 6*slices.Index(Ratios, ratio)
	if aimed {
		i += 2
	}
	return Figure{r.number(i), r.number(i + 1)}
}
