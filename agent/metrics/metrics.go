// Package metrics writes figures in the text format that Prometheus reads (0.0.4).
//
// It is a writer and no registry: who has the figures writes them when they are
// asked for, so that nothing is kept twice and an agent that nobody asks pays
// nothing.
package metrics

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// ContentType is what an answer over HTTP says of itself.
const ContentType = "text/plain; version=0.0.4; charset=utf-8"

// Kind is what a figure does over time.
type Kind string

// The kinds of figures.
const (
	Counter Kind = "counter" // only ever grows; its name ends in _total
	Gauge   Kind = "gauge"   // goes up and down
)

// Writer gathers a page of figures. The zero value is an empty page.
type Writer struct{ out []byte }

// Family begins the figures of one name, in base units: seconds, bytes, metres.
// help is one sentence. All its figures follow, before another family begins.
func (w *Writer) Family(name string, kind Kind, help string) Family {
	w.head(name, string(kind), help)
	return Family{w, name}
}

func (w *Writer) head(name, kind, help string) {
	help = strings.NewReplacer(`\`, `\\`, "\n", `\n`).Replace(help)
	w.out = append(w.out, "# HELP "+name+" "+help+"\n# TYPE "+name+" "+kind+"\n"...)
}

// Bytes is the page.
func (w *Writer) Bytes() []byte { return w.out }

// Family is the figures of one name.
type Family struct {
	w    *Writer
	name string
}

// Add adds a figure with labels, each a name and its value. A family has either
// one figure without labels, or several that differ in them.
func (f Family) Add(value float64, labels ...string) {
	f.w.figure(f.name, value, labels...)
}

// One adds the figure of a family that has no other.
func (w *Writer) One(name string, kind Kind, help string, value float64) {
	w.Family(name, kind, help).Add(value)
}

var escape = strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`)

func (w *Writer) figure(name string, value float64, labels ...string) {
	w.out = append(w.out, name...)
	for i := 0; i+1 < len(labels); i += 2 {
		between := ","
		if i == 0 {
			between = "{"
		}
		w.out = append(w.out, between+labels[i]+`="`+escape.Replace(strings.ToValidUTF8(labels[i+1], "\uFFFD"))+`"`...)
	}
	if len(labels) > 1 {
		w.out = append(w.out, '}')
	}
	w.out = append(w.out, ' ')
	switch {
	case math.IsInf(value, 1):
		w.out = append(w.out, "+Inf"...)
	case math.IsInf(value, -1):
		w.out = append(w.out, "-Inf"...)
	case value == math.Trunc(value) && math.Abs(value) < 1<<53: // exact, and read more easily than with an exponent
		w.out = strconv.AppendInt(w.out, int64(value), 10)
	default:
		w.out = strconv.AppendFloat(w.out, value, 'g', -1, 64)
	}
	w.out = append(w.out, '\n')
}

// Histogram counts how long something took, in seconds. Make it with NewHistogram;
// it is safe for concurrent use.
type Histogram struct {
	bounds []float64

	mu     sync.Mutex
	counts []uint64 // one more than bounds: above the last
	sum    float64
}

// NewHistogram counts up to each of the bounds, which rise.
func NewHistogram(bounds ...float64) *Histogram {
	return &Histogram{bounds: bounds, counts: make([]uint64, len(bounds)+1)}
}

// Observe counts one value.
func (h *Histogram) Observe(value float64) {
	i, _ := slices.BinarySearch(h.bounds, value) // a bound is within
	h.mu.Lock()
	h.counts[i]++
	h.sum += value
	h.mu.Unlock()
}

// Histogram adds a histogram as a family of its own.
func (w *Writer) Histogram(name, help string, h *Histogram) {
	w.head(name, "histogram", help)
	h.mu.Lock()
	defer h.mu.Unlock()
	n := uint64(0)
	for i, bound := range h.bounds {
		n += h.counts[i]
		w.figure(name+"_bucket", float64(n), "le", strconv.FormatFloat(bound, 'g', -1, 64))
	}
	n += h.counts[len(h.bounds)]
	w.figure(name+"_bucket", float64(n), "le", "+Inf")
	w.figure(name+"_sum", h.sum)
	w.figure(name+"_count", float64(n))
}
