package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// crossedCSV is the crossed study of the check values, with the names that the
// command wants.
func crossedCSV(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("../testdata/references/grr_A.csv")
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	renamed := strings.Replace(text, `"appr","trial","part","y"`, `"appraiser","trial","part","value"`, 1)
	if renamed == text {
		t.Fatal("the study has other columns")
	}
	return renamed
}

// TestGaugeCrossed is the automotive manual's worked case, recomputed.
func TestGaugeCrossed(t *testing.T) {
	var file struct {
		A struct {
			ANOVA struct{ Part, Appr, Inter, Rep [3]float64 }
			SD    struct{ EV, AV, GRR, PV, TV float64 } `json:"pooled_sd"`
			Study struct{ GRR float64 }                 `json:"pooled_pct_study"`
			NDC   float64                               `json:"ndc_raw"`
			Range struct {
				GRR float64
				NDC float64 `json:"ndc_raw"`
			} `json:"average_range"`
		}
	}
	referenceValues(t, "grr_expected.json", &file)
	want := file.A
	name := filepath.Join(t.TempDir(), "study.csv")
	write(t, name, crossedCSV(t))
	got := asked(t, "", "gauge", name, "--tolerance", "10", "--json")
	// The expected figures have nine digits.
	near := func(what string, x any, w, half float64) {
		t.Helper()
		if f, ok := x.(float64); !ok || f < w-half || f > w+half {
			t.Errorf("%s = %v, want %.9g", what, x, w)
		}
	}
	near("repeatability", got["repeatability_sd"], want.SD.EV, 1e-8)
	near("reproducibility", got["reproducibility_sd"], want.SD.AV, 1e-8)
	near("gauge", got["gauge_sd"], want.SD.GRR, 1e-8)
	near("part", got["part_sd"], want.SD.PV, 1e-8)
	near("total", got["total_sd"], want.SD.TV, 1e-8)
	near("percent of the study", got["percent_study"], want.Study.GRR, 1e-6)
	near("percent of the tolerance", got["percent_tolerance"], 100*6*want.SD.GRR/10, 1e-6)
	if got["study"] != "crossed" || got["interaction"] != "pooled" || got["ndc"] != float64(int(want.NDC)) {
		t.Errorf("%v", got)
	}
	rows, ok := got["anova"].([]any)
	if !ok || len(rows) != 6 {
		t.Fatalf("anova %v", got["anova"])
	}
	for i, w := range []struct {
		source string
		values [3]float64
	}{{"part", want.ANOVA.Part}, {"appraiser", want.ANOVA.Appr}, {"interaction", want.ANOVA.Inter}, {"repeatability", want.ANOVA.Rep}} {
		row, ok := rows[i].(map[string]any)
		if !ok || row["source"] != w.source || row["df"] != w.values[0] {
			t.Errorf("row %d: %v, want %s", i+1, rows[i], w.source)
		}
		near(w.source+" ss", row["ss"], w.values[1], 1e-8)
		near(w.source+" ms", row["ms"], w.values[2], 1e-8)
		if _, has := row["f"]; has != (i < 3) {
			t.Errorf("%v", row)
		}
	}
	ranges, ok := got["average_range"].(map[string]any)
	if !ok || ranges["ndc"] != float64(int(want.Range.NDC)) {
		t.Fatalf("average range %v", got["average_range"])
	}
	near("gauge by average and range", ranges["gauge_sd"], want.Range.GRR, 1e-8)
	if got := asked(t, crossedCSV(t), "gauge", "-"); got["percent_tolerance"] != nil {
		t.Errorf("percent of no tolerance: %v", got["percent_tolerance"])
	}
}

func TestGaugeLinearity(t *testing.T) {
	var file struct {
		L struct {
			Reference []float64
			Readings  [][]float64
			Expected  struct {
				Slope, Intercept, R2, S float64
				TSlope                  float64 `json:"t_slope"`
				TIntercept              float64 `json:"t_intercept"`
			}
		} `json:"linearity"`
	}
	referenceValues(t, "gauge_bias_linearity_type1.json", &file)
	text := "part,value,reference\n"
	for i, r := range file.L.Reference {
		for _, v := range file.L.Readings[i] {
			text += fmt.Sprintf("%d,%g,%g\n", i+1, v, r)
		}
	}
	got := asked(t, text, "gauge", "-")
	want := file.L.Expected
	numbersNear(t, got, map[string]float64{
		"n": 60, "slope": want.Slope, "intercept": want.Intercept, "r2": want.R2, "residual_sd": want.S,
		"slope_t": want.TSlope, "intercept_t": want.TIntercept,
	})
	if biases, ok := got["biases"].([]any); !ok || len(biases) != 5 || got["study"] != "linearity" {
		t.Errorf("%v", got)
	}
}

func TestGaugeType1(t *testing.T) {
	var file struct {
		T struct {
			T, Reference float64
			Readings     []float64
			Expected     struct {
				Mean, S, Cg, Cgk float64
				Cg4              float64 `json:"Cg_4s"`
				Cgk4             float64 `json:"Cgk_2s"`
			}
		} `json:"type1"`
	}
	referenceValues(t, "gauge_bias_linearity_type1.json", &file)
	text := strings.ReplaceAll(strings.Trim(fmt.Sprint(file.T.Readings), "[]"), " ", "\n")
	got := asked(t, text, "gauge", "--reference", fmt.Sprint(file.T.Reference), "--tolerance", fmt.Sprint(file.T.T), "-")
	want := file.T.Expected
	numbersNear(t, got, map[string]float64{
		"n": 25, "mean": want.Mean, "sd": want.S, "cg": want.Cg, "cgk": want.Cgk, "cg_4s": want.Cg4, "cgk_4s": want.Cgk4,
	})
	if got["study"] != "type1" {
		t.Errorf("%v", got)
	}
}

func TestGaugeWrongInput(t *testing.T) {
	whole := "part,appraiser,value\n1,A,1\n1,A,2\n1,B,1\n1,B,3\n2,A,4\n2,A,5\n2,B,6\n2,B,5\n"
	for _, c := range []struct {
		name, stdin string
		args        []string
		says        []string
	}{
		{"another table", "x,y\n1,2\n", []string{"-"}, []string{"standard input:1", "part,appraiser,value", "reference,value", "--reference"}},
		{"numbers without reference", "17.004\n17.002\n", []string{"-"}, []string{"--reference and --tolerance"}},
		{"no appraiser", "part,value\n1,2\n", []string{"-"}, []string{"standard input:1: appraiser", "missing"}},
		{"no value", "part,appraiser,y\n1,A,2\n", []string{"-"}, []string{"standard input:1: value"}},
		{"header twice", "part,appraiser,value,part\n1,A,2,1\n", []string{"-"}, []string{"part", "twice", "1 and 4"}},
		{"cells wrong", "part,appraiser,value\n1,A,x\n,B,2\n", []string{"-"}, []string{"standard input:2: value", "standard input:3: part"}},
		{"a reading is missing", strings.TrimSuffix(whole, "2,B,5\n"), []string{"-"}, []string{"standard input: ", `part "2", appraiser "B": 1 reading, the others have 2`}},
		{"one appraiser", strings.ReplaceAll(whole, "B", "A"), []string{"-"}, []string{`appraiser "A"`, "two appraisers"}},
		{"tolerance of nothing", whole, []string{"--tolerance", "0", "-"}, []string{"--tolerance 0"}},
		{"tolerance negative", whole, []string{"--tolerance", "-1", "-"}, []string{"--tolerance -1"}},
		{"reference alone", "17\n", []string{"--reference", "17", "-"}, []string{"--reference needs --tolerance"}},
		{"a table with a reference", whole, []string{"--reference", "17", "--tolerance", "1", "-"}, []string{"standard input:1"}},
		{"type 1 constant", "17\n17\n", []string{"--reference", "17", "--tolerance", "1", "-"}, []string{"all 2 values are 17"}},
		{"linearity with tolerance", "reference,value\n1,2\n2,3\n3,5\n", []string{"--tolerance", "1", "-"}, []string{"--tolerance", "leave it out"}},
		{"linearity at one size", "reference,value\n1,2\n1,3\n1,5\n", []string{"-"}, []string{"all references are 1"}},
		{"no file", "", []string{"none.csv"}, []string{"none.csv"}},
	} {
		wrongInput(t, c.name, c.stdin, append([]string{"gauge"}, c.args...), c.says)
	}
	if got := asked(t, whole, "gauge", "-"); got["study"] != "crossed" {
		t.Errorf("%v", got)
	}
}
