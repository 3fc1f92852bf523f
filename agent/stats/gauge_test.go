package stats

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
)

// studyA is the crossed study of the automotive manual's worked case.
func studyA(t *testing.T) []GaugeReading {
	t.Helper()
	file, err := os.Open(references + "grr_A.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	r := csv.NewReader(file)
	r.Comment = '#'
	cells, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"appr", "trial", "part", "y"}; !slices.Equal(cells[0], want) {
		t.Fatalf("columns %q", cells[0])
	}
	var rows []GaugeReading
	for _, c := range cells[1:] {
		rows = append(rows, GaugeReading{Part: c[2], Appraiser: c[0], Value: number(t, c[3])})
	}
	return rows
}

// expectedA is what the study gives.
type expectedA struct {
	ANOVA struct {
		Part, Appr, Inter, Rep [3]float64 // df, SS, MS
		F                      float64    `json:"F_inter"`
		P                      float64    `json:"p_inter"`
	}
	SD      struct{ EV, AV, GRR, PV, TV float64 } `json:"pooled_sd"`
	Percent struct{ EV, AV, GRR, PV float64 }     `json:"pooled_pct_study"`
	NDC     float64                               `json:"ndc_raw"`
	Range   struct {
		EV, AV, GRR, PV, TV float64
		Pct                 [4]float64
		NDC                 float64 `json:"ndc_raw"`
	} `json:"average_range"`
	Printed struct {
		Range struct {
			EV, AV, GRR, PV, TV float64
			Pct                 [4]float64
			NDC                 int
		} `json:"average_range"`
		SD struct{ EV, AV, GRR, PV, TV float64 } `json:"anova_sd"`
	} `json:"printed_from_memory"`
}

func mustCross(t *testing.T, rows []GaugeReading) Crossed {
	t.Helper()
	c, err := CrossedOf(rows)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// row is a row of the analysis; the test fails without it.
func (c Crossed) row(t *testing.T, name string) Source {
	t.Helper()
	i := slices.IndexFunc(c.ANOVA, func(s Source) bool { return s.Source == name })
	if i < 0 {
		t.Fatalf("no row %s in %v", name, c.ANOVA)
	}
	return c.ANOVA[i]
}

// TestCrossed: the study recomputed by another program, to its nine digits, and
// the digits that are remembered as printed, to three.
func TestCrossed(t *testing.T) {
	var file struct{ A expectedA }
	reference(t, "grr_expected.json", &file)
	want := file.A
	c := mustCross(t, studyA(t))
	if c.Parts != 10 || c.Appraisers != 3 || c.Trials != 3 || c.Interaction != "pooled" {
		t.Errorf("%+v", c)
	}
	for name, w := range map[string][3]float64{
		"part": want.ANOVA.Part, "appraiser": want.ANOVA.Appr, "interaction": want.ANOVA.Inter, "repeatability": want.ANOVA.Rep,
	} {
		row := c.row(t, name)
		if row.DF != int(w[0]) || math.Abs(row.SS-w[1]) > 0.5e-8 || math.Abs(*row.MS-w[2]) > 0.5e-8 {
			t.Errorf("%s: %d %.9f %.9f, want %v", name, row.DF, row.SS, *row.MS, w)
		}
	}
	inter := c.row(t, "interaction")
	near(t, "F of the interaction", *inter.F, want.ANOVA.F, 1e-8)
	near(t, "p of the interaction", *inter.P, want.ANOVA.P, 1e-8)
	pooled, total := c.row(t, "pooled"), c.row(t, "total")
	near(t, "pooled", *pooled.MS, (want.ANOVA.Inter[1]+want.ANOVA.Rep[1])/78, 1e-8)
	near(t, "F of the parts", *c.row(t, "part").F, want.ANOVA.Part[2] / *pooled.MS, 1e-8)
	near(t, "F of the appraisers", *c.row(t, "appraiser").F, want.ANOVA.Appr[2] / *pooled.MS, 1e-8)
	if pooled.DF != 78 || total.DF != 89 || total.MS != nil {
		t.Errorf("%+v, %+v", pooled, total)
	}
	for name, pair := range map[string][2]float64{
		"repeatability": {c.Repeatability, want.SD.EV}, "reproducibility": {c.Reproducibility, want.SD.AV},
		"gauge": {c.Gauge, want.SD.GRR}, "part": {c.Part, want.SD.PV}, "total": {c.Total, want.SD.TV},
		"% repeatability": {c.PercentRepeatability, want.Percent.EV}, "% reproducibility": {c.PercentReproducibility, want.Percent.AV},
		"% gauge": {c.PercentStudy, want.Percent.GRR}, "% part": {c.PercentPart, want.Percent.PV},
	} {
		near(t, name, pair[0], pair[1], 5e-8)
	}
	for _, pair := range [][2]float64{
		{c.Repeatability, want.Printed.SD.EV}, {c.Reproducibility, want.Printed.SD.AV}, {c.Gauge, want.Printed.SD.GRR},
		{c.Part, want.Printed.SD.PV}, {c.Total, want.Printed.SD.TV},
	} {
		near(t, "printed", pair[0], pair[1], 5e-4)
	}
	if c.NDC != int(want.NDC) || !strings.HasPrefix(c.Reading, "10 to 30 %") {
		t.Errorf("ndc %d, %q", c.NDC, c.Reading)
	}
}

// TestAverageRange: the same study by the method of average and range.
func TestAverageRange(t *testing.T) {
	var file struct{ A expectedA }
	reference(t, "grr_expected.json", &file)
	want, printed := file.A.Range, file.A.Printed.Range
	r := mustCross(t, studyA(t)).AverageRange
	for _, c := range []struct {
		name               string
		got, want, printed float64
	}{
		{"repeatability", r.Repeatability, want.EV, printed.EV},
		{"reproducibility", r.Reproducibility, want.AV, printed.AV},
		{"gauge", r.Gauge, want.GRR, printed.GRR},
		{"part", r.Part, want.PV, printed.PV},
		{"total", r.Total, want.TV, printed.TV},
		{"% repeatability", r.PercentRepeatability, want.Pct[0], printed.Pct[0]},
		{"% reproducibility", r.PercentReproducibility, want.Pct[1], printed.Pct[1]},
		{"% gauge", r.PercentStudy, want.Pct[2], printed.Pct[2]},
		{"% part", r.PercentPart, want.Pct[3], printed.Pct[3]},
	} {
		near(t, c.name, c.got, c.want, 3e-8)
		near(t, c.name+", printed", c.got, c.printed, 1e-3) // printed with rounded intermediates
	}
	if r.NDC != int(want.NDC) || r.NDC != printed.NDC {
		t.Errorf("ndc %d", r.NDC)
	}
}

// TestFactors: the tables of the automotive manual, from memory.
func TestFactors(t *testing.T) {
	for n, want := range map[int]float64{2: 0.8862, 3: 0.5908} {
		near(t, "K1", factor(n, true), want, 0)
	}
	for n, want := range map[int]float64{2: 0.7071, 3: 0.5231, 4: 0.4467, 5: 0.4030, 6: 0.3742, 7: 0.3534, 8: 0.3375, 9: 0.3249, 10: 0.3146} {
		near(t, "K3", factor(n, false), want, 0)
	}
	if k := factor(26, false); k != 0 {
		t.Errorf("a factor for 26: %g", k)
	}
}

// made is a crossed study of normal components about 30.48 mm.
func made(random *rand.Rand, parts, appraisers, trials int, part, appraiser, inter, rep float64) (rows []GaugeReading) {
	byAppraiser := make([]float64, appraisers)
	for j := range byAppraiser {
		byAppraiser[j] = appraiser * random.NormFloat64()
	}
	for i := range parts {
		p := part * random.NormFloat64()
		for j := range appraisers {
			cell := inter * random.NormFloat64()
			for range trials {
				rows = append(rows, GaugeReading{
					Part: string(rune('a' + i)), Appraiser: string(rune('A' + j)),
					Value: 30.48 + p + byAppraiser[j] + cell + rep*random.NormFloat64(),
				})
			}
		}
	}
	return rows
}

// TestInteractionKept: an interaction that shows stays, and parts and appraisers
// are tested against it.
func TestInteractionKept(t *testing.T) {
	rows := made(rand.New(rand.NewPCG(9, 10)), 8, 3, 2, 0.05, 0.01, 0.02, 0.003)
	c := mustCross(t, rows)
	inter, rep := c.row(t, "interaction"), c.row(t, "repeatability")
	if c.Interaction != "kept" || *inter.P > poolAbove || len(c.ANOVA) != 5 {
		t.Fatalf("%+v", c)
	}
	near(t, "F of the interaction", *inter.F, *inter.MS / *rep.MS, 1e-12)
	near(t, "F of the parts", *c.row(t, "part").F, *c.row(t, "part").MS / *inter.MS, 1e-12)
	near(t, "F of the appraisers", *c.row(t, "appraiser").F, *c.row(t, "appraiser").MS / *inter.MS, 1e-12)
	near(t, "repeatability", c.Repeatability, math.Sqrt(*rep.MS), 1e-12)
	near(t, "interaction", c.InteractionSD, math.Sqrt((*inter.MS-*rep.MS)/2), 1e-12)
	near(t, "reproducibility", c.Reproducibility, math.Hypot(c.InteractionSD, c.AppraiserSD), 1e-12)
	near(t, "total", c.Total*c.Total, c.Repeatability*c.Repeatability+c.Reproducibility*c.Reproducibility+c.Part*c.Part, 1e-12)
}

// TestNegativeComponents: components that come out negative are 0, and the number
// of categories is at least 1.
func TestNegativeComponents(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	zeroPart, zeroAppraiser := 0, 0
	for range 60 {
		c := mustCross(t, made(random, 5, 3, 2, 0, 0, 0, 0.01))
		if c.Part == 0 {
			zeroPart++
			if c.PercentStudy != 100 || c.NDC != 1 || c.PercentPart != 0 {
				t.Errorf("%+v", c)
			}
		}
		if c.AppraiserSD == 0 {
			zeroAppraiser++
		}
		if c.NDC < 1 || math.IsNaN(c.Total) || !strings.HasPrefix(c.Reading, "above 30 %") {
			t.Errorf("%+v", c)
		}
	}
	if zeroPart < 10 || zeroAppraiser < 10 {
		t.Errorf("%d and %d of 60 were negative", zeroPart, zeroAppraiser)
	}
}

// TestCrossedUnits: the order of the rows, inches, and a zero a million away do
// not change what they should not.
func TestCrossedUnits(t *testing.T) {
	random := rand.New(rand.NewPCG(13, 14))
	for name, rows := range map[string][]GaugeReading{
		"reference": studyA(t),
		"crimps":    made(random, 10, 3, 3, 0.02, 0.004, 0.002, 0.003),
	} {
		want := mustCross(t, rows)
		for _, c := range []struct {
			name        string
			scale, zero float64
			relative    float64
		}{
			{"shuffled", 1, 0, 1e-12}, {"inches", 1 / 25.4, 0, 1e-9}, {"far zero", 1, 1e6, 1e-6},
		} {
			moved := slices.Clone(rows)
			random.Shuffle(len(moved), func(i, j int) { moved[i], moved[j] = moved[j], moved[i] })
			for i := range moved {
				moved[i].Value = moved[i].Value*c.scale + c.zero
			}
			got := mustCross(t, moved)
			label := name + ", " + c.name + ": "
			near(t, label+"repeatability", got.Repeatability, want.Repeatability*c.scale, c.relative)
			near(t, label+"reproducibility", got.Reproducibility, want.Reproducibility*c.scale, c.relative)
			near(t, label+"gauge", got.Gauge, want.Gauge*c.scale, c.relative)
			near(t, label+"part", got.Part, want.Part*c.scale, c.relative)
			near(t, label+"% of the study", got.PercentStudy, want.PercentStudy, c.relative)
			near(t, label+"average range", got.AverageRange.PercentStudy, want.AverageRange.PercentStudy, c.relative)
			for i := range want.ANOVA[:3] {
				near(t, label+"F", *got.ANOVA[i].F, *want.ANOVA[i].F, 10*c.relative)
				near(t, label+"p", *got.ANOVA[i].P, *want.ANOVA[i].P, 1000*c.relative)
			}
			if got.NDC != want.NDC || got.Interaction != want.Interaction || got.Reading != want.Reading {
				t.Errorf("%s%+v", label, got)
			}
		}
	}
}

// study writes a study as part, appraiser and values: "1 A 1.0 1.1".
func study(t *testing.T, cells ...string) (rows []GaugeReading) {
	t.Helper()
	for _, c := range cells {
		words := strings.Fields(c)
		for _, w := range words[2:] {
			rows = append(rows, GaugeReading{words[0], words[1], number(t, w)})
		}
	}
	return rows
}

func TestCrossedWrong(t *testing.T) {
	for _, c := range []struct {
		name string
		rows []GaugeReading
		says []string
	}{
		{"nothing", nil, []string{"no readings", "two appraisers"}},
		{"one appraiser", study(t, "1 A 1 2", "2 A 3 4"), []string{`appraiser "A"`, "two appraisers"}},
		{"one part", study(t, "1 A 1 2", "1 B 3 4"), []string{`part "1"`, "two parts"}},
		{"one trial", study(t, "1 A 1", "1 B 2", "2 A 4", "2 B 3"), []string{"once", "interaction", "twice"}},
		{"a cell is missing", study(t, "1 A 1 2", "1 B 3 4", "2 A 5 6"), []string{`part "2", appraiser "B": 0 readings, the others have 2`}},
		{"cells are short and long", study(t, "1 A 1 2 3", "1 B 3 4 5", "2 A 5", "2 B 5 6 7", "10 A 1 2 3", "10 B 4 5 6 7"),
			[]string{`part "2", appraiser "A": 1 reading, the others have 3`, `part "10", appraiser "B": 4 readings, the others have 3`}},
		{"repeats copied", study(t, "1 A 1.1 1.1", "1 B 2 2", "2 A 4 4", "2 B 3 3"), []string{"repeat", "finer"}},
		{"no number", append(study(t, "1 A 1 2", "1 B 3 4", "2 A 5 6", "2 B 5"), GaugeReading{"2", "B", math.Inf(1)}), []string{"reading 8"}},
		{"too near each other", study(t, "1 A 1e-300 2e-300", "1 B 0 0", "2 A 0 0", "2 B 0 0"), []string{"hardly differ"}},
	} {
		got, err := CrossedOf(c.rows)
		if err == nil {
			t.Errorf("%s: %+v", c.name, got)
			continue
		}
		for _, s := range c.says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%s: %q, want %q in it", c.name, err, s)
			}
		}
	}
	var many []GaugeReading
	for i := range 60 {
		many = append(many, GaugeReading{string(rune('A' + i)), "kj", 1}, GaugeReading{string(rune('a' + i)), "mo", 2})
	}
	if _, err := CrossedOf(many); err == nil || strings.Count(err.Error(), "\n") != 21 || !strings.Contains(err.Error(), "44 more such cells") {
		t.Errorf("a study that is not crossed: %v", err)
	}
	if got := named(map[string]bool{"10": true, "9": true, "x": true, "09": true}); !slices.Equal(got, []string{"09", "9", "10", "x"}) {
		t.Errorf("names %q", got)
	}
}

// TestLinearity is the automotive manual's worked case, recomputed.
func TestLinearity(t *testing.T) {
	var file struct {
		L struct {
			Reference []float64
			Readings  [][]float64
			Expected  struct {
				Bias                    []float64 `json:"mean_bias"`
				Slope, Intercept, R2, S float64
				TSlope                  float64 `json:"t_slope"`
				TIntercept              float64 `json:"t_intercept"`
			}
			Published struct {
				Slope, Intercept, R2 float64
			}
		} `json:"linearity"`
	}
	reference(t, "gauge_bias_linearity_type1.json", &file)
	var references, readings []float64
	for i, r := range file.L.Reference {
		for _, v := range file.L.Readings[i] {
			references, readings = append(references, r), append(readings, v)
		}
	}
	got, err := LinearityOf(references, readings)
	if err != nil {
		t.Fatal(err)
	}
	want := file.L.Expected
	near(t, "slope", got.Slope, want.Slope, 1e-9)
	near(t, "intercept", got.Intercept, want.Intercept, 1e-9)
	near(t, "r2", *got.R2, want.R2, 1e-9)
	near(t, "s", got.ResidualSD, want.S, 1e-9)
	near(t, "t of the slope", *got.SlopeT, want.TSlope, 1e-9)
	near(t, "t of the intercept", *got.InterceptT, want.TIntercept, 1e-9)
	if math.Abs(got.Slope-file.L.Published.Slope) > 0.5e-4 || math.Abs(got.Intercept-file.L.Published.Intercept) > 0.5e-4 ||
		math.Abs(*got.R2-file.L.Published.R2) > 0.5e-3 {
		t.Errorf("%+v, printed %+v", got, file.L.Published)
	}
	if got.N != 60 || len(got.Biases) != len(want.Bias) {
		t.Fatalf("%+v", got)
	}
	for i, b := range got.Biases {
		if b.Reference != file.L.Reference[i] || b.N != 12 || math.Abs(b.Bias-want.Bias[i]) > 1e-12 {
			t.Errorf("%+v, want %g at %g", b, want.Bias[i], file.L.Reference[i])
		}
	}
	for i, v := range readings { // inches
		readings[i], references[i] = v/25.4, references[i]/25.4
	}
	inches, err := LinearityOf(references, readings)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope in inches", inches.Slope, got.Slope, 1e-9)
	near(t, "p in inches", *inches.SlopeP, *got.SlopeP, 1e-6)
}

// TestLinearityWithoutScatter: no t and no p are made of nothing.
func TestLinearityWithoutScatter(t *testing.T) {
	got, err := LinearityOf([]float64{1, 1, 1, 2, 2, 4}, []float64{1.1, 1.1, 1.1, 2.2, 2.2, 4.4})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", got.Slope, 0.1, 1e-9)
	if b := got.Biases[0]; *b.SD != 0 || b.T != nil || b.P != nil || b.N != 3 {
		t.Errorf("%+v", b)
	}
	if b := got.Biases[2]; b.SD != nil || b.T != nil || b.N != 1 {
		t.Errorf("%+v", b)
	}
	if got, err = LinearityOf([]float64{1, 2, 4}, []float64{1.5, 2.5, 4.5}); err != nil || got.Slope != 0 || got.Intercept != 0.5 || got.R2 != nil || got.SlopeT != nil {
		t.Errorf("%+v, %v", got, err)
	}
	for name, c := range map[string]struct {
		references, readings []float64
		says                 string
	}{
		"nothing":       {nil, nil, "three or more"},
		"two readings":  {[]float64{1, 2}, []float64{1, 2}, "three or more"},
		"one reference": {[]float64{2, 2, 2}, []float64{1, 2, 3}, "two sizes"},
		"no number":     {[]float64{1, 2, 3}, []float64{1, math.NaN(), 3}, "point 2"},
	} {
		if got, err := LinearityOf(c.references, c.readings); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %+v, %v, want %q", name, got, err, c.says)
		}
	}
}

// TestType1 is own data, computed by another program too.
func TestType1(t *testing.T) {
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
	reference(t, "gauge_bias_linearity_type1.json", &file)
	got, err := Type1Of(file.T.Readings, file.T.Reference, file.T.T)
	if err != nil {
		t.Fatal(err)
	}
	want := file.T.Expected
	near(t, "mean", got.Mean, want.Mean, 1e-12)
	near(t, "s", got.SD, want.S, 1e-9)
	near(t, "Cg", got.Cg, want.Cg, 1e-9)
	near(t, "Cgk", got.Cgk, want.Cgk, 1e-9)
	near(t, "Cg of 4 s", got.Cg4, want.Cg4, 1e-9)
	near(t, "Cgk of 4 s", got.Cgk4, want.Cgk4, 1e-9)
	near(t, "t of the bias", got.BiasT, (want.Mean-file.T.Reference)/(want.S/5), 1e-9)
	if got.N != 25 || got.Note != "" {
		t.Errorf("%+v", got)
	}
	inches := slices.Clone(file.T.Readings)
	for i := range inches {
		inches[i] /= 25.4
	}
	other, err := Type1Of(inches[:24], file.T.Reference/25.4, file.T.T/25.4)
	if err != nil || !strings.Contains(other.Note, "24 readings") {
		t.Errorf("%+v, %v", other, err)
	}
	other, err = Type1Of(inches, file.T.Reference/25.4, file.T.T/25.4)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Cgk in inches", other.Cgk, got.Cgk, 1e-9)
	near(t, "p in inches", other.BiasP, got.BiasP, 1e-9)
	for name, c := range map[string]struct {
		readings             []float64
		reference, tolerance float64
		says                 string
	}{
		"one reading":          {[]float64{1}, 1, 1, "two or more"},
		"all the same":         {[]float64{17, 17, 17}, 17, 0.2, "finer resolution"},
		"no tolerance":         {[]float64{1, 2}, 1, 0, "tolerance of 0"},
		"tolerance negative":   {[]float64{1, 2}, 1, -1, "tolerance of -1"},
		"no number":            {[]float64{1, math.NaN()}, 1, 1, "value 2"},
		"reference not known":  {[]float64{1, 2}, math.NaN(), 1, "reference of NaN"},
		"too near each other":  {[]float64{0, 1e-200}, 0, 1, "hardly differ"},
		"tolerance beyond all": {[]float64{1, 2}, 1, math.Inf(1), "tolerance of +Inf"},
	} {
		if got, err := Type1Of(c.readings, c.reference, c.tolerance); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %+v, %v, want %q", name, got, err, c.says)
		}
	}
}
