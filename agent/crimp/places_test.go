package crimp

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
)

// TestPasses checks which forms pass into the mean of evenly spaced readings
// against lobing_alias.csv: an identity, computed apart from this code.
func TestPasses(t *testing.T) {
	for _, row := range referenceTable(t, "lobing_alias.csv") {
		k, err := strconv.Atoi(row["lobes_k"])
		if err != nil {
			t.Fatal(err)
		}
		m, err := strconv.Atoi(row["readings_m"])
		if err != nil {
			t.Fatal(err)
		}
		want := number(t, row["mean_error_over_2a"])
		if got := Passes(k, m); got != (want == 1) {
			t.Errorf("%d lobes, %d readings: %v, the error of the mean is %v of a reading's", k, m, got, want)
		}
		if Aliases(m, k) != Passes(k, m) {
			t.Errorf("%d dies, %d places: the main form of the marks has as many lobes as there are dies", k, m)
		}
		printed(t, "spacing", 180/float64(m), number(t, row["spacing_deg"]), 3)
	}
}

// TestPassesByMeasuring measures each form at each number of places, whatever
// the angle at which the first is taken: the mean keeps all of the error or none.
func TestPassesByMeasuring(t *testing.T) {
	for k := 1; k <= 48; k++ {
		radius := func(angle float64) float64 { return math.Cos(float64(k) * angle) }
		for m := 1; m <= mostPlaces; m++ {
			worst := 0.0
			for turn := range 360 {
				sum := 0.0
				for i := range m {
					angle := (float64(turn) + 180*float64(i)/float64(m)) * math.Pi / 180
					sum += radius(angle) + radius(angle+math.Pi)
				}
				worst = max(worst, math.Abs(sum/float64(m))/2)
			}
			want := 0.0
			if Passes(k, m) {
				want = 1
			}
			if math.Abs(worst-want) > 1e-9 {
				t.Errorf("%d lobes, %d readings: worst error of the mean %v of 2a, want %v", k, m, worst, want)
			}
		}
	}
}

func TestPlacesAtTheEdges(t *testing.T) {
	for _, c := range []struct{ k, m int }{{0, 3}, {-8, 2}, {8, 0}, {8, -2}, {0, 0}} {
		if Passes(c.k, c.m) {
			t.Errorf("%d lobes, %d readings: passes, want false", c.k, c.m)
		}
	}
	if Aliases(4, 0) {
		t.Error("dies not told: want no warning")
	}
}

// TestGoodPlaces: worked by hand from the rule, for the cages of the trade.
func TestGoodPlaces(t *testing.T) {
	for _, c := range []struct {
		dies int
		want []int
	}{
		{8, []int{3, 5, 6, 7, 8, 9, 10, 11, 12}},
		{6, []int{2, 4, 5, 6, 7, 8, 9, 10, 11, 12}},
		{12, []int{4, 5, 7, 8, 9, 10, 11, 12}},
		{16, []int{3, 5, 6, 7, 9, 10, 11, 12}},
		{7, []int{2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}}, // an odd form is not seen at all
		{0, []int{2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}},
	} {
		if got := GoodPlaces(c.dies); !slices.Equal(got, c.want) {
			t.Errorf("%d dies: %v, want %v", c.dies, got, c.want)
		}
	}
	// What the comment of Aliases says of the fainter forms of 8 dies.
	for _, c := range []struct {
		lobes int
		keep  []int
	}{{16, []int{8}}, {24, []int{3, 6, 12}}} {
		var keep []int
		for _, m := range GoodPlaces(8) {
			if Passes(c.lobes, m) {
				keep = append(keep, m)
			}
		}
		if !slices.Equal(keep, c.keep) {
			t.Errorf("%d lobes: kept by %v, want %v", c.lobes, keep, c.keep)
		}
	}
}

func TestSplit(t *testing.T) {
	const limit = 20 * Micrometre
	um := func(values ...int) (out []Length) {
		for _, v := range values {
			out = append(out, 30*Millimetre+Length(v)*Micrometre)
		}
		return out
	}
	for _, c := range []struct {
		name     string
		readings []Length
		limit    Length
		high     []int
		gap      Length
	}{
		{"two ridges of four, in turn", um(0, 100, 10, 110), limit, []int{2, 4}, 90 * Micrometre},
		{"one ridge of three", um(0, 80, 5), limit, []int{2}, 75 * Micrometre},
		{"one ridge of three, the flats alike", um(0, 0, 40), limit, []int{3}, 40 * Micrometre},
		{"flats alike and ridges alike", um(60, 0, 60, 0), limit, []int{1, 3}, 60 * Micrometre},
		{"a nanometre less than twice the limit", []Length{0, 0, 2*limit - 1}, limit, nil, 0},
		{"twice the limit", []Length{0, 0, 2 * limit}, limit, []int{3}, 2 * limit},
		{"three times the gap inside", um(0, 20, 80), limit, []int{3}, 60 * Micrometre},
		{"a little less than three times the gap inside", um(0, 21, 81), limit, nil, 0},
		{"the gap inside is among the ridges", um(0, 5, 100, 130), limit, []int{3, 4}, 95 * Micrometre},
		{"it is too wide there", um(0, 5, 100, 140), limit, nil, 0},
		{"one flat of three: no ridge stands out", um(0, 80, 85), limit, nil, 0},
		{"one flat of four", um(85, 80, 0, 83), limit, nil, 0},
		{"two gaps of one size", um(0, 90, 180), limit, nil, 0},
		{"an even spread", um(0, 40, 80, 120), limit, nil, 0},
		{"all alike", um(7, 7, 7), limit, nil, 0},
		{"two readings", um(0, 500), limit, nil, 0},
		{"none", nil, limit, nil, 0},
		{"no limit told", um(0, 0, 500), 0, nil, 0},
		{"below zero", []Length{-100_000, -100_000, -10_000}, limit, []int{3}, 90 * Micrometre},
	} {
		before := slices.Clone(c.readings)
		high, gap := Split(c.readings, c.limit)
		if !slices.Equal(high, c.high) || gap != c.gap {
			t.Errorf("%s: places %v, gap %s, want %v, %s", c.name, high, gap, c.high, c.gap)
		}
		if !slices.Equal(c.readings, before) {
			t.Errorf("%s: the readings were changed", c.name)
		}
	}
}

// TestSplitProperties: the order of the readings, where they lie and the unit in
// which all is told make no difference; what is found keeps its own rule.
func TestSplitProperties(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 2026))
	found := 0
	for range 20_000 {
		limit := Length(1 + random.IntN(50))
		readings := make([]Length, 3+random.IntN(6))
		for i := range readings {
			readings[i] = Length(random.IntN(40))
			if random.IntN(2) == 0 {
				readings[i] += Length(random.IntN(400))
			}
		}
		high, gap := Split(readings, limit)
		sizes := func(readings []Length, high []int) (out []Length) {
			for _, place := range high {
				out = append(out, readings[place-1])
			}
			slices.Sort(out)
			return out
		}
		what := fmt.Sprintf("%v, limit %d", readings, limit)

		mixed := slices.Clone(readings)
		random.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		if h, g := Split(mixed, limit); g != gap || !slices.Equal(sizes(mixed, h), sizes(readings, high)) {
			t.Fatalf("%s: in another order %v, gap %d, want %v, gap %d", what, h, g, high, gap)
		}
		scale, shift := Length(2+random.IntN(1000)), Length(random.IntN(1_000_000))
		for i, r := range readings {
			mixed[i] = (r + shift) * scale
		}
		if h, g := Split(mixed, limit*scale); g != gap*scale || !slices.Equal(h, high) {
			t.Fatalf("%s: %d times as large %v, gap %d, want %v, gap %d", what, scale, h, g, high, gap*scale)
		}
		if high == nil {
			continue
		}
		found++
		var smallest, largest Length = math.MaxInt64, math.MinInt64 // of the ridges, of the flats
		for i, r := range readings {
			if slices.Contains(high, i+1) {
				smallest = min(smallest, r)
			} else {
				largest = max(largest, r)
			}
		}
		if smallest-largest != gap || gap < 2*limit || len(readings)-len(high) < 2 {
			t.Fatalf("%s: places %v, gap %d", what, high, gap)
		}
	}
	if found < 1000 {
		t.Errorf("two groups in %d cases only: the cases say little", found)
	}
}

// TestSplitOnNoise: how often two groups are seen where there are none, as the
// comment of Split says it. The figures there are of 5 and 20 million crimps.
func TestSplitOnNoise(t *testing.T) {
	const (
		limit  = 20 * Micrometre
		digit  = 10 * Micrometre
		crimps = 200_000
	)
	for _, c := range []struct {
		places      int
		fine, digit float64 // crimps for each false alarm
	}{{3, 2_000, 360}, {4, 6_900, 860}, {6, 34_000, 3_000}} {
		random := rand.New(rand.NewPCG(uint64(c.places), 7))
		var fine, coarse int
		a, b := make([]Length, c.places), make([]Length, c.places)
		for range crimps {
			size := random.Float64() * float64(digit)
			for i := range a {
				x := size + random.NormFloat64()*float64(limit)/2
				a[i] = Length(math.Round(x))
				b[i] = Length(math.Round(x/float64(digit))) * digit
			}
			if high, _ := Split(a, limit); high != nil {
				fine++
			}
			if high, _ := Split(b, limit); high != nil {
				coarse++
			}
		}
		check := func(what string, got int, each float64) {
			want := crimps / each
			if math.Abs(float64(got)-want) > 4*math.Sqrt(want) {
				t.Errorf("%d places, %s: %d of %d crimps, want about %.0f", c.places, what, got, crimps, want)
			}
		}
		check("not rounded", fine, c.fine)
		check("rounded to 0.01 mm", coarse, c.digit)
	}
}
