package crimp

import (
	"math/big"
	"strings"
	"testing"
)

// TestLengthTolerance checks both tables against hose_length_tolerance.csv. Its
// figures for SAE are inches that were printed in millimetres, so these are
// compared to half their last digit.
func TestLengthTolerance(t *testing.T) {
	bands := map[Scheme]int{}
	for _, row := range referenceTable(t, "hose_length_tolerance.csv") {
		scheme := Scheme(row["scheme"])
		bands[scheme]++
		decimals := func(cell string) int {
			_, after, _ := strings.Cut(cell, ".")
			return len(after)
		}
		over, err := ParseDecimal(row["over_mm"], Millimetres)
		if err != nil {
			t.Fatal(err)
		}
		upTo := over + 10_000*Millimetre
		if row["up_to_mm"] != "" {
			if upTo, err = ParseDecimal(row["up_to_mm"], Millimetres); err != nil {
				t.Fatal(err)
			}
		}
		for _, length := range []Length{over + Millimetre, (over + upTo) / 2, upTo - Millimetre} {
			plus, minus, err := LengthTolerance(scheme, length)
			if err != nil {
				t.Errorf("%s %s: %v", scheme, length, err)
				continue
			}
			gotPlus, gotMinus := plus.MM(), minus.MM()
			if row["unit"] == "percent" {
				gotPlus, gotMinus = 100*float64(plus)/float64(length), 100*float64(minus)/float64(length)
				near(t, row["scheme"]+" plus %", gotPlus, number(t, row["plus"]), 1e-6)
				near(t, row["scheme"]+" minus %", gotMinus, -number(t, row["minus"]), 1e-6)
				continue
			}
			printed(t, row["scheme"]+" plus", gotPlus, number(t, row["plus"]), decimals(row["plus"]))
			printed(t, row["scheme"]+" minus", gotMinus, -number(t, row["minus"]), decimals(row["minus"]))
		}
	}
	if bands[EN] != len(bandsEN) || bands[SAE] != len(bandsSAE) {
		t.Errorf("%v bands in the file, %d and %d in the code", bands, len(bandsEN), len(bandsSAE))
	}
}

// TestLengthToleranceAtTheBounds: the bound is of the lower band, the next
// nanometre of the upper one.
func TestLengthToleranceAtTheBounds(t *testing.T) {
	for _, c := range []struct {
		scheme      Scheme
		length      string
		plus, minus string
	}{
		{EN, "0.000001mm", "7mm", "3mm"},
		{EN, "630mm", "7mm", "3mm"},
		{EN, "630.000001mm", "12mm", "4mm"},
		{EN, "1250mm", "12mm", "4mm"},
		{EN, "1250.000001mm", "20mm", "6mm"},
		{EN, "2500mm", "20mm", "6mm"},
		{EN, "2500.000001mm", "37.5mm", "12.5mm"}, // 1.5 and 0.5 %, rounded down
		{EN, "2500.000199mm", "37.500002mm", "12.5mm"},
		{EN, "2500.0002mm", "37.500003mm", "12.500001mm"},
		{EN, "8000mm", "120mm", "40mm"},
		{EN, "8000.0001mm", "240.000003mm", "80.000001mm"},
		{EN, "1000000mm", "30000mm", "10000mm"},
		{SAE, "12in", "0.125in", "0.125in"},
		{SAE, "304.800001mm", "0.1875in", "0.1875in"},
		{SAE, "18in", "0.1875in", "0.1875in"},
		{SAE, "457.200001mm", "0.25in", "0.25in"},
		{SAE, "36in", "0.25in", "0.25in"},
		{SAE, "914.400001mm", "9.144mm", "9.144mm"},
		{SAE, "100in", "1in", "1in"},
	} {
		plus, minus, err := LengthTolerance(c.scheme, mustLength(t, c.length))
		if err != nil || plus != mustLength(t, c.plus) || minus != mustLength(t, c.minus) {
			t.Errorf("%s %s: +%s −%s, %v, want +%s −%s", c.scheme, c.length, plus, minus, err, c.plus, c.minus)
		}
	}
	for _, c := range []struct {
		scheme Scheme
		length Length
		wrong  string
	}{
		{"en", Millimetre, `want "EN" or "SAE"`},
		{"", Millimetre, `want "EN" or "SAE"`},
		{EN, 0, "more than nothing"},
		{SAE, -Millimetre, "more than nothing"},
		{EN, maxLength + 1, "longer than a kilometre"},
	} {
		plus, minus, err := LengthTolerance(c.scheme, c.length)
		if err == nil || !strings.Contains(err.Error(), c.wrong) || plus != 0 || minus != 0 {
			t.Errorf("%q %s: +%s −%s, %v, want an error with %q", c.scheme, c.length, plus, minus, err, c.wrong)
		}
	}
}

// TestPerCentIsRoundedDown against whole numbers without bound.
func TestPerCentIsRoundedDown(t *testing.T) {
	for _, length := range []Length{2500*Millimetre + 7, 7999*Millimetre + 333_333, 8000*Millimetre + 99, maxLength - 1} {
		plus, _, err := LengthTolerance(EN, length)
		if err != nil {
			t.Fatal(err)
		}
		perMille := int64(15)
		if length > 8000*Millimetre {
			perMille = 30
		}
		want := new(big.Int).Mul(big.NewInt(int64(length)), big.NewInt(perMille))
		want.Div(want, big.NewInt(1000))
		if want.Int64() != int64(plus) {
			t.Errorf("%s: +%d nm, want %s", length, plus, want)
		}
	}
}

// TestDashSize: −8 is 1/2 in or 12.7 mm; the others follow (common practice).
func TestDashSize(t *testing.T) {
	for n, want := range map[int]string{
		4: "0.25in", 6: "0.375in", 8: "12.7mm", 10: "0.625in", 12: "0.75in", 16: "1in", 20: "1.25in", 24: "1.5in", 32: "2in", 1: "1.5875mm",
	} {
		if got := DashSize(n); got != mustLength(t, want) {
			t.Errorf("−%d is %s, want %s", n, got, want)
		}
	}
}
