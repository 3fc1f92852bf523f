package metrics

import (
	"bytes"
	"math"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
)

// parsed is a page as Prometheus' own parser reads it. Its own linter has nothing
// to say.
func parsed(t *testing.T, page []byte) map[string]*dto.MetricFamily {
	t.Helper()
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(bytes.NewReader(page))
	if err != nil {
		t.Fatalf("%v\n%s", err, page)
	}
	problems, err := promlint.New(bytes.NewReader(page)).Lint()
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
	return families
}

func TestFiguresAreReadAsTheyWereMeant(t *testing.T) {
	var w Writer
	w.One("press_strokes_total", Counter, "Strokes.", 12345678)
	odd := w.Family("press_state", Gauge, `A help with a \ and`+"\na line break.")
	odd.Add(0.1, "of", `a "quoted" \ value`+"\n", "more", "bad \xff bytes")
	odd.Add(-1e-9, "of", "b", "more", "")
	ends := w.Family("press_ends", Gauge, "Odd figures.")
	ends.Add(math.Inf(1), "of", "a")
	ends.Add(math.Inf(-1), "of", "b")
	ends.Add(math.NaN(), "of", "c")
	ends.Add(1<<60, "of", "d")
	h := NewHistogram(0.001, 0.01, 1)
	for _, v := range []float64{0, 0.001, 0.0011, 0.5, 1, 30} {
		h.Observe(v)
	}
	w.Histogram("press_commit_duration_seconds", "Commits.", h)

	f := parsed(t, w.Bytes())
	if m := f["press_strokes_total"]; m.GetType() != dto.MetricType_COUNTER || m.Metric[0].GetCounter().GetValue() != 12345678 {
		t.Errorf("%v", m)
	}
	m := f["press_state"]
	if m.GetHelp() != "A help with a \\ and\na line break." || len(m.Metric) != 2 {
		t.Errorf("%v", m)
	}
	if l := m.Metric[0].Label; l[0].GetValue() != "a \"quoted\" \\ value\n" || l[1].GetValue() != "bad \uFFFD bytes" || m.Metric[0].GetGauge().GetValue() != 0.1 {
		t.Errorf("%v", m.Metric[0])
	}
	if v := m.Metric[1].GetGauge().GetValue(); v != -1e-9 {
		t.Errorf("%v", v)
	}
	want := []float64{math.Inf(1), math.Inf(-1), math.NaN(), 1 << 60}
	for i, m := range f["press_ends"].Metric {
		if v := m.GetGauge().GetValue(); v != want[i] && !(math.IsNaN(v) && math.IsNaN(want[i])) {
			t.Errorf("%v, want %v", v, want[i])
		}
	}
	got := f["press_commit_duration_seconds"].Metric[0].GetHistogram()
	if got.GetSampleCount() != 6 || math.Abs(got.GetSampleSum()-31.5021) > 1e-9 {
		t.Errorf("%v", got)
	}
	for i, want := range []struct {
		bound float64
		n     uint64
	}{{0.001, 2}, {0.01, 3}, {1, 5}, {math.Inf(1), 6}} {
		if b := got.Bucket[i]; b.GetUpperBound() != want.bound || b.GetCumulativeCount() != want.n {
			t.Errorf("bucket %v, want %v", b, want)
		}
	}
}
