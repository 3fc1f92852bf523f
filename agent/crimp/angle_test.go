package crimp

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strconv"
	"testing"
)

// TestAngleReference checks both bands of proof_angle.json.
func TestAngleReference(t *testing.T) {
	var file struct {
		Angle struct {
			Rows []struct {
				Over    float64 `json:"over_mm"`
				UpTo    float64 `json:"up_to_mm"`
				Degrees float64
			}
		}
	}
	reference(t, "proof_angle.json", &file)
	if len(file.Angle.Rows) != 2 {
		t.Fatalf("%d bands in the file, want 2", len(file.Angle.Rows))
	}
	for _, row := range file.Angle.Rows {
		over, upTo := Nearest(row.Over*1e6), Nearest(row.UpTo*1e6)
		for _, length := range []Length{over + 1, (over + upTo) / 2, upTo} {
			if got := AngleTolerance(length); got != row.Degrees {
				t.Errorf("%s: %v degrees, want %v", length, got, row.Degrees)
			}
		}
	}
}

func TestAngleToleranceAtTheBound(t *testing.T) {
	for length, want := range map[string]float64{
		"0mm": 3, "610mm": 3, "24in": 3, "610.000001mm": 5, "24.02in": 5, "1000000mm": 5,
	} {
		if got := AngleTolerance(mustLength(t, length)); got != want {
			t.Errorf("%s: %v degrees, want %v", length, got, want)
		}
	}
}

func TestAngleOff(t *testing.T) {
	for _, c := range []struct{ measured, nominal, want float64 }{
		{0, 0, 0}, {360, 0, 0}, {0, 360, 0}, {720, 0, 0}, {-360, 0, 0}, {90, 90, 0},
		{1, 359, 2}, {359, 1, -2}, {359, 0, -1}, {0, 359, 1}, {3, 0, 3}, {357, 0, -3},
		{180, 0, 180}, {0, 180, 180}, {-180, 0, 180}, {181, 0, -179}, {179, 0, 179}, {0, 181, 179},
		{540, 0, 180}, {359.9, 0, -0.1}, {0.1, 359.9, 0.2}, {92.3, 89.3, 3}, {89.3, 92.3, -3}, {5.1, 2.1, 3}, {0.3, 0.1, 0.2},
		{-179.9999999999, 0, 180}, {1e-12, 0, 0}, {-1e-12, 0, 0},
	} {
		got := AngleOff(c.measured, c.nominal)
		if got != c.want || math.Signbit(got) != (c.want < 0) {
			t.Errorf("%v measured, %v nominal: %v, want %v", c.measured, c.nominal, got, c.want)
		}
	}
}

// TestAngleOffTurns: against another way, by complex numbers; whole turns are
// nothing, the other way round has the other sign, and tenths of a degree come out
// as they are written.
func TestAngleOffTurns(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 60))
	for range 20_000 {
		measured, nominal := random.Float64()*720-360, random.Float64()*720-360
		off := AngleOff(measured, nominal)
		if off <= -180 || off > 180 {
			t.Fatalf("%v, %v: %v", measured, nominal, off)
		}
		turn := func(degrees float64) complex128 { return cmplx.Rect(1, degrees*math.Pi/180) }
		if want := cmplx.Phase(turn(measured)/turn(nominal)) * 180 / math.Pi; math.Abs(off) < 179.999 && math.Abs(off-want) > 1e-9 {
			t.Fatalf("%v, %v: %v, want %v", measured, nominal, off, want)
		}

		from, by := random.IntN(3600), random.IntN(3600)-1799 // tenths, −179.9 to 180
		tenths := func(n int) float64 { return decimal(t, n) }
		turned := tenths(from + by + 3600*(random.IntN(5)-2))
		if got := AngleOff(turned, tenths(from)); got != tenths(by) {
			t.Fatalf("%v measured, %v nominal: %v, want %v", turned, tenths(from), got, tenths(by))
		}
		if got := AngleOff(tenths(from), turned); by != 1800 && got != tenths(-by) {
			t.Fatalf("%v measured, %v nominal: %v, want %v", tenths(from), turned, got, tenths(-by))
		}
	}
}

// decimal is a number of tenths as it is read from text.
func decimal(t *testing.T, tenths int) float64 {
	t.Helper()
	sign := ""
	if tenths < 0 {
		sign, tenths = "-", -tenths
	}
	v, err := strconv.ParseFloat(fmt.Sprintf("%s%d.%d", sign, tenths/10, tenths%10), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v + 0
}
