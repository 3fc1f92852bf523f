package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// drawn are the keys of every kind of chart.
type drawn struct {
	Kind                 string
	N, Base              int
	Center, Upper, Lower *float64
	Sigma, K, H          *float64
	Signals              []int
	Values, High, Low    []float64
	Uppers, Lowers       []float64
	Since                int
	MovingRange          *struct {
		Center, Upper float64
		Signals       []int
		Values        []float64
	} `json:"moving_range"`
	Rules []struct {
		Rule, Says string
		Signals    []int
	}
	RunLength *struct {
		InControl *float64 `json:"in_control"`
		OneSigma  *float64 `json:"one_sigma"`
		Assumes   string
	} `json:"run_length"`
	Notes []string
}

// chart runs the command on a file of the values.
func chart(t *testing.T, values []float64, args ...string) drawn {
	t.Helper()
	name := filepath.Join(t.TempDir(), "values.txt")
	write(t, name, lines(values))
	code, out, errs := command(t, "", slices.Concat([]string{"chart"}, args, []string{name})...)
	if code != exitDone || errs != "" {
		t.Fatalf("%v: exit %d, %s", args, code, errs)
	}
	var d drawn
	if err := json.Unmarshal([]byte(out), &d); err != nil {
		t.Fatalf("%v: %v\n%s", args, err, out)
	}
	if d.N != len(values) || strings.Count(out, "\n") != 1 || strings.Contains(out, `"signals":null`) {
		t.Errorf("%v: %s", args, out)
	}
	return d
}

// lines writes one value a line, under a comment.
func lines(values []float64) string {
	var b strings.Builder
	b.WriteString("# measured\n")
	for _, v := range values {
		b.WriteString(strconv.FormatFloat(v, 'g', -1, 64) + "\n")
	}
	return b.String()
}

// handbook are the charts of the NIST/SEMATECH e-Handbook, 6.3.2.2 to 6.3.2.4.
type handbook struct {
	Imr struct {
		X         []float64
		Published struct{ Xbar, Mrbar, UCL, LCL float64 }
	}
	EWMA struct {
		X                    []float64
		Lambda, Start, Sigma float64
		Published            struct {
			Series   []float64
			UCL, LCL float64
		}
	}
	CUSUM struct {
		X                   []float64
		Target, K, H, Sigma float64
		Published           struct{ High, Low []float64 }
	}
}

func handbookCharts(t *testing.T) (h handbook) {
	t.Helper()
	b, err := os.ReadFile("../testdata/references/nist_control_charts.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &h); err != nil {
		t.Fatal(err)
	}
	return h
}

func text(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// off wants two numbers to differ by at most so much.
func off(t *testing.T, what string, got, want, most float64) {
	t.Helper()
	if !(math.Abs(got-want) <= most) {
		t.Errorf("%s = %.9g, want %.9g", what, got, want)
	}
}

func TestChartIndividuals(t *testing.T) {
	h := handbookCharts(t).Imr
	d := chart(t, h.X, "--kind", "individuals")
	off(t, "center", *d.Center, h.Published.Xbar, 0.00005)
	off(t, "upper", *d.Upper, h.Published.UCL, 0.00005)
	off(t, "lower", *d.Lower, h.Published.LCL, 0.00005)
	off(t, "moving range", d.MovingRange.Center, h.Published.Mrbar, 0.00005)
	off(t, "run length", *d.RunLength.InControl, 370.4, 0.01)
	off(t, "run length after a shift", *d.RunLength.OneSigma, 43.9, 0.01)
	if d.Kind != "individuals" || d.Base != 10 || len(d.Signals) != 0 || !slices.Equal(d.Values, h.X) || len(d.MovingRange.Values) != 9 {
		t.Errorf("%+v", d)
	}
	if len(d.Rules) != 1 || d.Rules[0].Rule != "beyond" || !strings.Contains(d.Rules[0].Says, "3 standard") || len(d.Notes) != 1 || !strings.Contains(d.Notes[0], "rough") {
		t.Errorf("rules %+v, notes %q", d.Rules, d.Notes)
	}
}

// TestChartRules: signals are those of all rules together, each rule's stand
// beside it, and the run length is that of the set.
func TestChartRules(t *testing.T) {
	values := []float64{0, 1.5, 1.5, 0.5, 1.5, 1.5, 2.5, 3.5, 2.5, -4} // sigma 1, center 0
	d := chart(t, values, "--kind", "individuals", "--target", "0", "--sigma", "1",
		"--rules", "eight-in-a-row,two-of-three,four-of-five,beyond", "--json")
	want := map[string][]int{
		"beyond":         {8, 10},
		"two-of-three":   {8, 9},
		"four-of-five":   {6, 7, 8, 9},
		"eight-in-a-row": {9},
	}
	for _, r := range d.Rules {
		if !slices.Equal(r.Signals, want[r.Rule]) {
			t.Errorf("%s: %v, want %v", r.Rule, r.Signals, want[r.Rule])
		}
	}
	if !slices.Equal(d.Signals, []int{6, 7, 8, 9, 10}) || len(d.Rules) != 4 || d.Base != 0 || len(d.Notes) != 0 {
		t.Errorf("%+v", d)
	}
	off(t, "run length", *d.RunLength.InControl, 91.75, 0.005)
	if !slices.Equal(d.MovingRange.Signals, []int{10}) {
		t.Errorf("moving range %+v", d.MovingRange)
	}
	d = chart(t, values, "--kind", "individuals", "--target", "0", "--sigma", "1", "--rules", "beyond")
	if !slices.Equal(d.Signals, []int{8, 10}) {
		t.Errorf("%+v", d)
	}
}

func TestChartEWMA(t *testing.T) {
	h := handbookCharts(t).EWMA
	args := []string{"--kind", "ewma", "--lambda", text(h.Lambda), "--target", text(h.Start), "--sigma", text(h.Sigma)}
	d := chart(t, h.X, args...)
	off(t, "upper", *d.Upper, h.Published.UCL, 0.00005)
	off(t, "lower", *d.Lower, h.Published.LCL, 0.0001) // printed cut off
	for i, want := range h.Published.Series {
		off(t, "average", d.Values[i], want, 0.005001)
	}
	off(t, "run length", *d.RunLength.InControl, 465.5534, 0.00005) // arl_tables.csv
	off(t, "run length after a shift", *d.RunLength.OneSigma, 11.6986, 0.00005)
	if *d.Center != h.Start || len(d.Signals) != 0 || len(d.Values) != 20 || d.Uppers != nil {
		t.Errorf("%+v", d)
	}
	exact := chart(t, h.X, append(args, "--exact", "--factor", "1")...)
	if len(exact.Uppers) != 20 || len(exact.Lowers) != 20 || !slices.IsSorted(exact.Uppers) || !slices.Equal(exact.Signals, []int{18, 19, 20}) {
		t.Errorf("%+v", exact)
	}
	off(t, "first limit", exact.Uppers[0], h.Start+h.Lambda*h.Sigma, 1e-9)
	usual := chart(t, h.X, "--kind", "ewma", "--target", "50", "--sigma", "2.0539")
	off(t, "usual limit", *usual.Upper, 50+2.0539, 1e-9) // 3·√(0.2/1.8) = 1
}

func TestChartCUSUM(t *testing.T) {
	h := handbookCharts(t).CUSUM
	args := []string{"--kind", "cusum", "--target", text(h.Target), "--k", text(h.K), "--h", text(h.H)}
	d := chart(t, h.X, args...)
	for i := range h.X {
		off(t, "high", d.High[i], h.Published.High[i], 0.00501)
		off(t, "low", d.Low[i], h.Published.Low[i], 0.00501)
	}
	off(t, "plain sum", d.Values[19], 19.075, 1e-9)
	if !slices.Equal(d.Signals, []int{14, 15, 16, 17, 18, 19, 20}) || d.Since != 13 || d.Base != 0 || *d.K != h.K || *d.H != h.H {
		t.Errorf("%+v", d)
	}
	if len(d.Notes) != 1 || !strings.Contains(d.Notes[0], "run length") {
		t.Errorf("notes %q", d.Notes)
	}
	// With the standard deviation, k and h stay what they are, and the run length is of it.
	with := chart(t, h.X, append(args, "--sigma", text(h.Sigma))...)
	if !slices.Equal(with.Signals, d.Signals) || !slices.Equal(with.High, d.High) || len(with.Notes) != 0 {
		t.Errorf("%+v", with)
	}
	half := chart(t, h.X, "--kind", "cusum", "--target", "325", "--sigma", "0.635")
	off(t, "k", *half.K, 0.3175, 1e-12)
	off(t, "h", *half.H, 3.175, 1e-12)
	off(t, "run length", *half.RunLength.InControl, 465.4435, 0.00005) // arl_tables.csv
	off(t, "run length after a shift", *half.RunLength.OneSigma, 10.3760, 0.00005)
	bare := chart(t, h.X, "--kind", "cusum", "--base", "12")
	if bare.Base != 12 || *bare.Center > 325 || bare.Signals[0] != 13 || bare.Since != 12 {
		t.Errorf("%+v", bare)
	}
	// With target, k and h all known, one value is a chart, without a run length.
	one := chart(t, []float64{5}, "--kind", "cusum", "--target", "0", "--k", "1", "--h", "3")
	if !slices.Equal(one.Signals, []int{1}) || one.RunLength != nil || one.Sigma != nil || len(one.Notes) != 1 {
		t.Errorf("%+v", one)
	}
	// A limit that nothing reaches has no run length either.
	far := chart(t, h.X, "--kind", "cusum", "--target", "325", "--sigma", "0.635", "--h", "100")
	if far.RunLength != nil && far.RunLength.InControl != nil || len(far.Signals) != 0 || !strings.Contains(strings.Join(far.Notes, " "), "longer than") {
		t.Errorf("%+v", far)
	}
}

// TestChartInAnotherUnit: millimetres for inches alarm at the same values.
func TestChartInAnotherUnit(t *testing.T) {
	h := handbookCharts(t)
	for _, series := range [][]float64{h.Imr.X, h.EWMA.X, h.CUSUM.X} {
		other := make([]float64, len(series))
		for i, v := range series {
			other[i] = 25.4 * v
		}
		for _, kind := range []string{"individuals", "ewma", "cusum"} {
			a := chart(t, series, "--kind", kind, "--base", "8")
			b := chart(t, other, "--kind", kind, "--base", "8")
			off(t, "center", *b.Center, 25.4**a.Center, 1e-9**b.Center)
			off(t, "sigma", *b.Sigma, 25.4**a.Sigma, 1e-9**b.Sigma)
			off(t, "run length", *b.RunLength.InControl, *a.RunLength.InControl, 1e-6)
			if !slices.Equal(a.Signals, b.Signals) {
				t.Errorf("%s: %v and %v", kind, a.Signals, b.Signals)
			}
		}
	}
}

// TestChartWrong: wrong flags and files end with the code for it, print nothing,
// and say what would be right.
func TestChartWrong(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		name = filepath.Join(dir, name)
		write(t, name, text)
		return name
	}
	good := file("good.txt", "1\n2\n4\n")
	same := file("same.txt", "2\n2\n2\n")
	for _, c := range []struct {
		name string
		args []string
		says []string
	}{
		{"no kind", []string{good}, []string{"--kind"}},
		{"unknown kind", []string{"--kind", "xbar", good}, []string{"--kind", "individuals", "xbar"}},
		{"no file", []string{"--kind", "ewma"}, []string{"no values are named"}},
		{"file is not there", []string{"--kind", "ewma", filepath.Join(dir, "none.txt")}, []string{"none.txt"}},
		{"a folder", []string{"--kind", "ewma", dir}, []string{dir}},
		{"empty file", []string{"--kind", "ewma", file("empty.txt", "\n# nothing\n")}, []string{"empty.txt", "no number"}},
		{"decimal comma", []string{"--kind", "ewma", file("comma.txt", "1.5\n1,5\n")}, []string{"comma.txt:2", "1,5", "with a point"}},
		{"all the same", []string{"--kind", "individuals", same}, []string{"same.txt", "all 2", "standard deviation is 0"}},
		{"all the same, averaged", []string{"--kind", "ewma", same}, []string{"standard deviation is 0"}},
		{"all the same, summed", []string{"--kind", "cusum", same}, []string{"standard deviation is 0"}},
		{"one value", []string{"--kind", "individuals", file("one.txt", "3")}, []string{"one.txt", "2 or more"}},
		{"base of one", []string{"--kind", "individuals", "--base", "1", good}, []string{"--base 1", "2 or more"}},
		{"base too long", []string{"--kind", "individuals", "--base", "4", good}, []string{"good.txt", "base period of 4", "3 values"}},
		{"sigma of nothing", []string{"--kind", "individuals", "--sigma", "0", good}, []string{"--sigma 0", "more than 0"}},
		{"sigma no number", []string{"--kind", "cusum", "--sigma", "NaN", good}, []string{"--sigma", "NaN"}},
		{"endless target", []string{"--kind", "cusum", "--target", "Inf", good}, []string{"--target", "Inf", "no decimal number"}},
		{"target too large", []string{"--kind", "cusum", "--target", "1e300", good}, []string{"--target", "1e300", "too large"}},
		{"lambda of nothing", []string{"--kind", "ewma", "--lambda", "0", good}, []string{"--lambda 0", "above 0 to 1"}},
		{"lambda too large", []string{"--kind", "ewma", "--lambda", "1.5", good}, []string{"--lambda 1.5"}},
		{"factor below nothing", []string{"--kind", "ewma", "--factor=-3", good}, []string{"--factor -3"}},
		{"k below nothing", []string{"--kind", "cusum", "--k=-1", good}, []string{"--k -1", "0 or more"}},
		{"h of nothing", []string{"--kind", "cusum", "--h", "0", good}, []string{"--h 0", "more than 0"}},
		{"unknown rule", []string{"--kind", "individuals", "--rules", "beyond,nine", good}, []string{"--rules", "nine", "eight-in-a-row"}},
		{"flags of other kinds", []string{"--kind", "individuals", "--lambda", "0.2", "--factor", "3", "--exact", "--k", "1", "--h", "5", good},
			[]string{"--lambda is for --kind ewma", "--factor", "--exact", "--k is for --kind cusum", "--h"}},
		{"rules of another kind", []string{"--kind", "cusum", "--rules", "beyond", good}, []string{"--rules is for --kind individuals"}},
		{"no number", []string{"--kind", "cusum", "--k", "half", good}, []string{"--k", "half"}},
	} {
		code, out, errs := command(t, "", append([]string{"chart"}, c.args...)...)
		if code != exitUsage || out != "" {
			t.Errorf("%s: exit %d, printed %q", c.name, code, out)
		}
		for _, text := range c.says {
			if !strings.Contains(errs, text) {
				t.Errorf("%s: says %q, want %q in it", c.name, errs, text)
			}
		}
	}
	if code, out, _ := command(t, "1\n2\n4\n", "chart", "--kind", "ewma", "-"); code != exitDone || !strings.HasPrefix(out, `{"kind":"ewma"`) {
		t.Errorf("standard input: exit %d, %s", code, out)
	}
	if code, _, errs := command(t, "1\n", "chart", "--kind", "ewma", "-"); code != exitUsage || !strings.Contains(errs, "standard input: 1 value") {
		t.Errorf("standard input: exit %d, %s", code, errs)
	}
}

// TestChartHelpTellsTheCost: the figures of the help are those that the charts
// come with.
func TestChartHelpTellsTheCost(t *testing.T) {
	figures := map[string][]string{
		"individuals, beyond": {"--kind", "individuals"},
		"… and two-of-three":  {"--kind", "individuals", "--rules", "beyond,two-of-three"},
		"… and four-of-five":  {"--kind", "individuals", "--rules", "beyond,four-of-five"},
		"… and eight-in-a-row": {
			"--kind", "individuals", "--rules", "beyond,eight-in-a-row"},
		"… and all three of them": {
			"--kind", "individuals", "--rules", "beyond,two-of-three,four-of-five,eight-in-a-row"},
		"ewma, lambda 0.2, factor 3":               {"--kind", "ewma"},
		"cusum, k 0.5 and h 5 standard deviations": {"--kind", "cusum"},
	}
	help := (*chartCommand)(nil).Help()
	for what, args := range figures {
		_, after, ok := strings.Cut(help, what+"  ")
		var inControl, oneSigma float64
		if _, err := fmt.Sscan(after, &inControl, &oneSigma); !ok || err != nil {
			t.Errorf("%q is not in the help: %v", what, err)
			continue
		}
		d := chart(t, []float64{1, 2, 4}, args...)
		off(t, what, inControl, *d.RunLength.InControl, 0.5)
		off(t, what+", after a shift", oneSigma, *d.RunLength.OneSigma, 0.5)
	}
}
