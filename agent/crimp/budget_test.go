package crimp

import (
	"encoding/csv"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// referenceTable reads a table of check values, each row by the names of its
// columns.
func referenceTable(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/references/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }() // only read
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var rows []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, column := range all[0] {
			row[column] = cells[i]
		}
		rows = append(rows, row)
	}
	if len(rows) == 0 {
		t.Fatalf("%s: no rows", name)
	}
	return rows
}

// number is a cell as a number.
func number(t *testing.T, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// printed checks a value against one that is printed with so many decimals.
func printed(t *testing.T, what string, got, want float64, decimals int) {
	t.Helper()
	if half := 0.5 * math.Pow10(-decimals); math.Abs(got-want) > half*(1+1e-9) {
		t.Errorf("%s = %.12g, printed %.*f", what, got, decimals, want)
	}
}

// TestEndGauge checks the uncertainty budget against GUM (JCGM 100:2008) H.1.
func TestEndGauge(t *testing.T) {
	var file struct {
		Components []struct {
			Name   string
			U, Dof float64
		}
		Expected  map[string]float64
		Published map[string]float64
	}
	reference(t, "gum_h1_end_gauge.json", &file)
	var parts []Component
	for _, c := range file.Components {
		parts = append(parts, Component{Name: c.Name, U: c.U, Dof: c.Dof})
	}
	u, dof := Combine(parts)
	near(t, "u", u, file.Expected["uc"], 1e-9)
	near(t, "u²", u*u, file.Expected["uc2"], 1e-9)
	near(t, "dof", dof, file.Expected["nu_eff"], 1e-9)
	if got := math.Round(u); got != file.Published["uc"] {
		t.Errorf("u = %v nm, printed %v", got, file.Published["uc"])
	}
	if got := math.Floor(dof); got != file.Published["nu_trunc"] {
		t.Errorf("dof truncate to %v, printed %v", got, file.Published["nu_trunc"])
	}
	t99 := distuv.StudentsT{Sigma: 1, Nu: math.Floor(dof)}.Quantile(0.995)
	near(t, "t99", t99, file.Expected["t99"], 1e-9)
	if got := math.Round(t99 * math.Round(u)); got != file.Published["U99"] {
		t.Errorf("U99 = %v nm, printed %v", got, file.Published["U99"])
	}
}

// TestCaliperBudget checks a worked budget of a caliper: own data, computed
// apart from this code (testdata/references/caliper_budget.json).
func TestCaliperBudget(t *testing.T) {
	var file struct {
		Gauge struct {
			Step, Limit, Repeatability Length
			RepeatabilityDof           float64 `json:"repeatability_dof"`
			Kelvin                     float64
		}
		Diameter Length
		N        int
		Cases    []struct {
			ID         string
			Zero       Zero
			Components map[string]float64
			U          float64
			NuEff      float64 `json:"nu_eff"`
		}
		Summary map[string]float64
	}
	reference(t, "caliper_budget.json", &file)
	g := Gauge{
		Limit: file.Gauge.Limit, Step: file.Gauge.Step,
		Repeatability: file.Gauge.Repeatability, RepeatabilityDof: file.Gauge.RepeatabilityDof,
		Kelvin: file.Gauge.Kelvin,
	}
	const mm = float64(Millimetre)
	for _, c := range file.Cases {
		g.Zero = c.Zero
		parts := g.Budget(file.Diameter, file.N)
		got := map[string]float64{}
		for _, p := range parts {
			got[p.Name] = p.U / mm
			near(t, c.ID+": "+p.Name, p.U/mm, c.Components[p.Name], 1e-12)
		}
		if want := slices.Sorted(maps.Keys(c.Components)); !slices.Equal(slices.Sorted(maps.Keys(got)), want) {
			t.Errorf("%s: components %v, want %v", c.ID, got, want)
		}
		u, dof := Combine(parts)
		near(t, c.ID+": u", u/mm, c.U, 1e-12)
		near(t, c.ID+": dof", dof, c.NuEff, 1e-12)
	}

	// The rounded digits are those of the budget without its zero; a checked
	// zero that showed nothing still has the rounding of its own reading.
	g.Zero = Zero{Checked: true}
	all := g.Budget(file.Diameter, file.N)
	parts := slices.DeleteFunc(slices.Clone(all), func(c Component) bool { return c.Name == "zero" })
	if len(parts) != len(all)-1 {
		t.Fatalf("components %+v: want one of the zero", all)
	}
	byName := map[string]float64{}
	for _, p := range parts {
		byName[p.Name] = p.U / mm
	}
	u, dof := Combine(parts)
	k := distuv.StudentsT{Sigma: 1, Nu: dof}.Quantile(0.975)
	printed(t, "resolution", byName["resolution"], file.Summary["resolution"], 7)
	printed(t, "caliper", byName["caliper"], file.Summary["caliper"], 7)
	printed(t, "repeatability", byName["repeatability"], file.Summary["repeatability"], 7)
	printed(t, "temperature", byName["temperature"], file.Summary["temperature"], 8)
	printed(t, "u", u/mm, file.Summary["u"], 7)
	printed(t, "dof", dof, file.Summary["nu_eff"], 2)
	printed(t, "k95", k, file.Summary["k95"], 5)
	printed(t, "U95", k*u/mm, file.Summary["U95"], 7)

	// A rounded zero and a rounded reading: step/√6.
	two, _ := Combine(Gauge{Step: file.Gauge.Step, Zero: Zero{Checked: true}}.Budget(file.Diameter, file.N))
	printed(t, "zero and reading", two/mm, file.Summary["two_roundings"], 7)
}

// TestBudgetOfParts: what is not told is left out, and only the repeatability
// gets smaller with more readings.
func TestBudgetOfParts(t *testing.T) {
	const diameter = 25 * Millimetre
	names := func(g Gauge) (out []string) {
		for _, c := range g.Budget(diameter, 3) {
			out = append(out, c.Name)
		}
		return out
	}
	for _, c := range []struct {
		name string
		g    Gauge
		want []string
	}{
		{"nothing told", Gauge{}, nil},
		{"the caliper alone", Gauge{Limit: 20 * Micrometre}, []string{"caliper"}},
		{"no digit, but a zero checked without a fault", Gauge{Zero: Zero{Checked: true, Allowed: Micrometre}}, nil},
		{"a shift without a digit", Gauge{Zero: Zero{Checked: true, Value: -Micrometre}}, []string{"zero"}},
		{"zero not checked", Gauge{Zero: Zero{Value: 5 * Micrometre, Allowed: Micrometre}}, []string{"zero"}},
		{"all", Gauge{
			Limit: 1, Step: 1, Repeatability: 1, Zero: Zero{Allowed: 1}, Kelvin: 1,
		}, []string{"caliper", "resolution", "repeatability", "zero", "temperature"}},
	} {
		if got := names(c.g); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if u, dof := Combine(Gauge{}.Budget(diameter, 3)); u != 0 || !math.IsInf(dof, 1) {
		t.Errorf("nothing told: u %v, dof %v", u, dof)
	}

	g := Gauge{Limit: 20 * Micrometre, Step: 10 * Micrometre, Repeatability: 12 * Micrometre}
	one, four := g.Budget(diameter, 1), g.Budget(diameter, 4)
	for i, c := range one {
		ratio := 1.0
		if c.Name == "repeatability" {
			ratio = 2
		}
		near(t, c.Name, c.U/four[i].U, ratio, 1e-12)
		if !math.IsInf(c.Dof, 1) {
			t.Errorf("%s: %v degrees of freedom, want them without end", c.Name, c.Dof)
		}
	}
	near(t, "limit/√3", one[0].U, 11547.005383792516, 1e-12) // by hand: 20,000 nm/√3
}

// TestThermalExcess checks α·D·(T−20); the table is computed to the nanometre.
func TestThermalExcess(t *testing.T) {
	for _, row := range referenceTable(t, "thermal.csv") {
		d, err := ParseDecimal(row["diameter_mm"], Millimetres)
		if err != nil {
			t.Fatal(err)
		}
		celsius := number(t, row["temp_c"])
		got := ThermalExcess(d, celsius)
		printed(t, row["diameter_mm"]+" mm at "+row["temp_c"]+" °C", got/float64(Millimetre), number(t, row["excess_mm"]), 6)
		// The same range either way, as a component.
		parts := Gauge{Kelvin: math.Abs(celsius - 20)}.Budget(d, 1)
		if got == 0 {
			if len(parts) != 0 {
				t.Errorf("%+v at 20 °C", parts)
			}
			continue
		}
		near(t, "temperature", parts[0].U*math.Sqrt(3), math.Abs(got), 1e-12)
	}
}
