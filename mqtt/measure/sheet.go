package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// sheet holds the figures of all rounds: by measure and by program.
type sheet map[measure]map[string][]float64

// measure is a row of the table, or one of several figures in a row.
type measure string

// rows are those of the table: a name, its figures, and how they are written.
var rows = []struct {
	name     string
	format   string
	measures []measure
}{
	{"start to first published, ms", "%.0f", []measure{"start"}},
	{"of which until the status is seen, ms", "%.0f", []measure{"start status"}},
	{"start to first published with the backlog's records, ms", "%.0f", []measure{"start full"}},
	{"RSS idle, of which anonymous, MB", "%.1f", []measure{"idle resident", "idle anonymous"}},
	{"RSS with the backlog kept, of which anonymous, MB", "%.1f", []measure{"kept resident", "kept anonymous"}},
	{"RSS after its drain, of which anonymous, MB", "%.1f", []measure{"drained resident", "drained anonymous"}},
	{"voluntary context switches at rest, each second", "%.1f", []measure{"idle switches"}},
	{"CPU s per 10,000 events: paced, burst, drain", "%.2f", []measure{"paced cpu", "burst cpu", "drain cpu"}},
	{"input to durable, ms: p50, p99", "%.2f", []measure{"durable p50", "durable p99"}},
	{"input to subscriber, ms: p50, p99", "%.2f", []measure{"seen p50", "seen p99"}},
	{"burst, durable, events/s", "%.0f", []measure{"burst kept"}},
	{"burst, at the subscriber, events/s", "%.0f", []measure{"burst seen"}},
	{"backlog drain, events/s", "%.0f", []measure{"drain"}},
	{"broker back to first event: after the intake of the backlog, after the outage, s", "%.2f", []measure{"back", "outage"}},
	{"live events during the drain, s: p50, p99", "%.2f", []measure{"live p50", "live p99"}},
	{"live state during the drain, s: p50, p99", "%.3f", []measure{"state p50", "state p99"}},
}

// note takes down one figure of one round.
func (s sheet) note(m measure, p program, value float64) {
	if s[m] == nil {
		s[m] = map[string][]float64{}
	}
	s[m][p.name] = append(s[m][p.name], value)
}

// table is the sheet in Markdown, the median of the rounds in each place.
func (s sheet) table(all []program) string {
	var b strings.Builder
	b.WriteString("| measure |")
	for _, p := range all {
		b.WriteString(" " + p.name + " |")
	}
	b.WriteString("\n|" + strings.Repeat("---|", 1+len(all)) + "\n")
	for _, row := range rows {
		b.WriteString("| " + row.name + " |")
		for _, p := range all {
			var cell []string
			for _, m := range row.measures {
				if values := s[m][p.name]; len(values) > 0 {
					cell = append(cell, fmt.Sprintf(row.format, quantile(values, 0.5)))
				}
			}
			b.WriteString(" " + strings.Join(cell, ", ") + " |")
		}
		b.WriteString("\n")
	}
	return b.String()
}

// quantile is the smallest value that at least that part of all does not exceed; 0 of
// none. For an even number of values the median is the lower of the two in the middle.
func quantile(values []float64, part float64) float64 {
	if len(values) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(values))
	return sorted[max(0, int(math.Ceil(part*float64(len(sorted))))-1)]
}
