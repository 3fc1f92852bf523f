package stats

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// records reads a table of check values, each row by the names of its columns.
// Lines with # carry its source and how far the digits are to be trusted.
func records(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(references + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close() //nolint:errcheck // test
	r := csv.NewReader(file)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(all), err)
	}
	var rows []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, cell := range cells {
			row[all[0][i]] = cell
		}
		rows = append(rows, row)
	}
	return rows
}

// printed wants got to round to the digits that are printed: it may lie half of
// the last one off, and a hair for digits that were rounded twice.
func printed(t *testing.T, what string, got float64, digits string) {
	t.Helper()
	_, decimals, _ := strings.Cut(digits, ".")
	if want := number(t, digits); !(math.Abs(got-want) <= 0.501*math.Pow(10, -float64(len(decimals)))) {
		t.Errorf("%s = %.10g, printed %s", what, got, digits)
	}
}

// TestConstants: chart_constants.csv, computed with R from the definitions; the
// tables of ASTM E2587 and ISO 7870-2 print three of its decimals (from memory).
func TestConstants(t *testing.T) {
	rows := records(t, "chart_constants.csv")
	if want := LargestSubgroup - SmallestSubgroup + 1; len(rows) != want {
		t.Fatalf("%d sizes, want %d", len(rows), want)
	}
	for i, row := range rows {
		n := SmallestSubgroup + i
		c, err := ConstantsOf(n)
		if err != nil || row["n"] != strconv.Itoa(n) || c.N != n {
			t.Fatalf("%d: %+v, %v", n, c, err)
		}
		for name, got := range map[string]float64{
			"d2": c.RangeMean, "d3": c.RangeSD, "c4": c.SDMean, "A2": c.A2, "A3": c.A3,
			"D3": c.D3, "D4": c.D4, "B3": c.B3, "B4": c.B4, "E2": c.E2,
		} {
			if want := number(t, row[name]); !(math.Abs(got-want) <= 1e-6) {
				t.Errorf("%s(%d) = %.9f, want %s", name, n, got, row[name])
			}
			printed(t, name+"("+row["n"]+")", got, row[name])
		}
	}
	for _, n := range []int{-1, 0, 1, 26} {
		if _, err := ConstantsOf(n); err == nil || !strings.Contains(err.Error(), "2 to 25") {
			t.Errorf("%d: %v", n, err)
		}
	}
}

// TestConstantsInClosedForm: small subgroups have constants that can be written
// down: d2(2) = 2/√π, d2(3) = 3/√π, d3(2)² = 2 − 4/π, c4(2) = √(2/π).
func TestConstantsInClosedForm(t *testing.T) {
	two, err := ConstantsOf(2)
	if err != nil {
		t.Fatal(err)
	}
	three, err := ConstantsOf(3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "d2(2)", two.RangeMean, 2/math.Sqrt(math.Pi), 1e-13)
	near(t, "d3(2)", two.RangeSD, math.Sqrt(2-4/math.Pi), 1e-12)
	near(t, "c4(2)", two.SDMean, math.Sqrt(2/math.Pi), 1e-13)
	near(t, "d2(3)", three.RangeMean, 3/math.Sqrt(math.Pi), 1e-13)
	near(t, "the moving range's d2, three decimals", rangeOfTwo, 1.128, 1e-15)
	near(t, "the moving range's D4, three decimals", rangeLimit, 3.267, 1e-15)
}
