package crimp

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestScaleNumber checks each number against iso4406_codes.csv: the table of ISO
// 4406:1999, seen in two second-hand prints.
func TestScaleNumber(t *testing.T) {
	rows := referenceTable(t, "iso4406_codes.csv")
	if len(rows) != len(cleanliness) {
		t.Errorf("%d numbers in the file, %d in the code", len(rows), len(cleanliness))
	}
	for i, row := range rows {
		if row["scale"] != fmt.Sprint(i) {
			t.Fatalf("row %d has number %s", i, row["scale"])
		}
		moreThan, upTo := number(t, row["more_than"]), number(t, row["up_to"])
		for _, perML := range []float64{math.Nextafter(moreThan, upTo), (moreThan + upTo) / 2, upTo} {
			if got, err := ScaleNumber(perML); err != nil || got != i {
				t.Errorf("%v particles per mL: %d, %v, want %d", perML, got, err, i)
			}
		}
	}
	if got, err := ScaleNumber(0); err != nil || got != 0 {
		t.Errorf("no particles: %d, %v, want 0", got, err)
	}
	for _, c := range []struct {
		perML float64
		wrong string
	}{
		{math.NaN(), "not a number"},
		{-0.001, "less than none"},
		{math.Inf(-1), "less than none"},
		{math.Nextafter(2_500_000, 3e6), "more than 2500000"},
		{math.Inf(1), "more than 2500000"},
	} {
		if got, err := ScaleNumber(c.perML); err == nil || !strings.Contains(err.Error(), c.wrong) || got != 0 {
			t.Errorf("%v particles per mL: %d, %v, want an error with %q", c.perML, got, err, c.wrong)
		}
	}
}

func TestCleanlinessCode(t *testing.T) {
	for _, c := range []struct {
		four, six, fourteen float64
		want, wrong         string
	}{
		{four: 2_500, six: 640, fourteen: 80, want: "18/16/13"},
		{four: 1_300.1, six: 320.1, fourteen: 40.1, want: "18/16/13"},
		{four: 2_500, six: 2_500, fourteen: 2_500, want: "18/18/18"},
		{four: 2_500_000, six: 1, fourteen: 0, want: "28/7/0"},
		{four: 100, six: 101, fourteen: 1, wrong: "from 6 µm on: 101 particles per mL, but only 100 from 4 µm on"},
		{four: 100, six: 50, fourteen: 50.1, wrong: "from 14 µm on: 50.1 particles per mL, but only 50 from 6 µm on"},
		{four: math.NaN(), six: 1, fourteen: 1, wrong: "from 4 µm on: particles per mL: NaN is not a number"},
		{four: 5, six: math.NaN(), fourteen: 1, wrong: "from 6 µm on"},
		{four: 5, six: 1, fourteen: -1, wrong: "from 14 µm on: particles per mL: -1 is less than none"},
		{four: 3e6, six: 1, fourteen: 1, wrong: "where the scale of ISO 4406 ends at 28"},
	} {
		got, err := CleanlinessCode(c.four, c.six, c.fourteen)
		switch {
		case c.wrong == "" && (err != nil || got != c.want):
			t.Errorf("%v, %v, %v: %q, %v, want %q", c.four, c.six, c.fourteen, got, err, c.want)
		case c.wrong != "" && (err == nil || !strings.Contains(err.Error(), c.wrong) || got != ""):
			t.Errorf("%v, %v, %v: %q, %v, want an error with %q", c.four, c.six, c.fourteen, got, err, c.wrong)
		}
	}
}

// TestScaleNumberRises: twice as many particles are one number up; none or two
// where the table is rounded, as from 0.64 by 1.3 to 2.5.
func TestScaleNumberRises(t *testing.T) {
	random := rand.New(rand.NewPCG(44, 6))
	for range 20_000 {
		perML := math.Exp(math.Log(0.005) + random.Float64()*math.Log(1_250_000/0.005))
		one, err := ScaleNumber(perML)
		if err != nil {
			t.Fatal(err)
		}
		two, err := ScaleNumber(2 * perML)
		if err != nil {
			t.Fatal(err)
		}
		if two < one || two > one+2 {
			t.Fatalf("%v particles per mL have %d, twice as many %d", perML, one, two)
		}
	}
}
