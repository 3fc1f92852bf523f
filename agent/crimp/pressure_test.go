package crimp

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// exactPSI is one psi without rounding, from proof_angle.json: weight of a pound on
// a square inch.
func exactPSI(t *testing.T) (exact *big.Rat, expected, published float64) {
	t.Helper()
	var file struct {
		PSI struct {
			Pound     string `json:"pound_kg"`
			Gravity   string
			Inch      string  `json:"inch_m"`
			Expected  float64 `json:"expected_pa"`
			Published float64 `json:"published_pa"`
		}
	}
	reference(t, "proof_angle.json", &file)
	rat := func(s string) *big.Rat {
		r, ok := new(big.Rat).SetString(s)
		if !ok {
			t.Fatalf("%q in proof_angle.json", s)
		}
		return r
	}
	inch := rat(file.PSI.Inch)
	exact = new(big.Rat).Mul(rat(file.PSI.Pound), rat(file.PSI.Gravity))
	exact.Quo(exact, inch.Mul(inch, inch))
	return exact, file.PSI.Expected, file.PSI.Published
}

// nearestPascal is a pressure without rounding, to the nearest pascal, halves up.
func nearestPascal(r *big.Rat) Pressure {
	twice := new(big.Rat).Add(new(big.Rat).Mul(r, big.NewRat(2, 1)), big.NewRat(1, 1))
	n := new(big.Int).Div(twice.Num(), new(big.Int).Mul(twice.Denom(), big.NewInt(2)))
	return Pressure(n.Int64())
}

func TestPSI(t *testing.T) {
	exact, expected, published := exactPSI(t)
	near(t, "psi", psi, expected, 1e-15)
	if math.Abs(psi-published) > 0.0005 {
		t.Errorf("psi is %v Pa, printed %v", float64(psi), published)
	}
	for n := int64(1); n <= 20_000; n++ {
		p := mustPressure(t, fmt.Sprint(n, "psi"))
		if want := nearestPascal(new(big.Rat).Mul(exact, big.NewRat(n, 1))); p != want {
			t.Fatalf("%d psi: %d Pa, want %d", n, p, want)
		}
		if got, want := p.Text(InPSI), fmt.Sprint(n, " psi"); got != want {
			t.Fatalf("%s for %s", got, want)
		}
		if u := p.Unit(); u != InPSI && p%10_000 != 0 {
			t.Fatalf("%d psi were typed in %s", n, u)
		}
	}
}

func TestParsePressure(t *testing.T) {
	for s, want := range map[string]Pressure{
		"35MPa": 35_000_000, "350 bar": 35_000_000, "35000kPa": 35_000_000, " 350bar ": 35_000_000, "350\tbar": 35_000_000,
		"5000psi": 34_473_786, "5000 psi": 34_473_786, "5000 PSI": 34_473_786, "1psi": 6_895, "350 BAR": 35_000_000, "350Bar": 35_000_000,
		"34.5MPa": 34_500_000, "0.1bar": 10_000, ".5bar": 50_000, "350.bar": 35_000_000, "0.00001bar": 1, "0.000005bar": 1, "0.000014bar": 1, "0.000016bar": 2,
		"1000MPa": MostPressure, "10000bar": MostPressure, "1000000kPa": MostPressure, "145037.7psi": 999_999_740, "0.001kPa": 1,
		"1000.0000004MPa": MostPressure, "00350bar": 35_000_000,
	} {
		if got, err := ParsePressure(s); err != nil || got != want {
			t.Errorf("%q: %d, %v, want %d", s, got, err, want)
		}
	}
	for s, wrong := range map[string]string{
		"":                                     `empty pressure: write a number with its unit, such as "350bar" or "5000psi"`,
		" \t":                                  "empty pressure",
		"350":                                  `pressure "350" has no unit: write "bar", "MPa", "kPa" or "psi" behind the number`,
		"12.5 ":                                "has no unit",
		"350 mbar":                             `pressure "350 mbar": unit "mbar": want "bar", "MPa", "kPa" or "psi"`,
		"35 mPa":                               `unit "mPa"`,
		"35 MPA":                               `unit "MPA"`,
		"35 KPA":                               `unit "KPA"`,
		"35 Pa":                                `unit "Pa"`,
		"5000 psig":                            `unit "psig"`,
		"5000 psi max":                         `unit "psi max"`,
		"bar":                                  `pressure "bar": "" is not a plain decimal number`,
		"psi 5000":                             `unit "psi 5000"`,
		"1,5bar":                               `pressure "1,5bar": "1,5" is not a plain decimal number`,
		"-350bar":                              `"-350" is not a plain decimal number`,
		"+350bar":                              `"+350" is not a plain decimal number`,
		"3 50bar":                              `"3 50" is not a plain decimal number`,
		"1.2.3bar":                             `"1.2.3" is not a plain decimal number`,
		".bar":                                 `"." is not a plain decimal number`,
		"1_0bar":                               `"1_0" is not a plain decimal number`,
		"1e2bar":                               `unit "e2bar"`,
		"0x1pbar":                              `unit "x1pbar"`,
		"infbar":                               `unit "infbar"`,
		"NaNbar":                               `unit "NaNbar"`,
		"٣bar":                                 `"٣" is not a plain decimal number`,
		"0bar":                                 `pressure "0bar": want more than nothing and at most 1000MPa`,
		"0.000001bar":                          "want more than nothing",
		"1000.1MPa":                            "at most 1000MPa",
		"10000.1bar":                           "at most 1000MPa",
		"145038psi":                            "at most 1000MPa",
		"1" + strings.Repeat("0", 400) + "bar": "at most 1000MPa",
	} {
		if got, err := ParsePressure(s); err == nil || !strings.Contains(err.Error(), wrong) || got != 0 {
			t.Errorf("%q: %d, %v, want an error with %q", s, got, err, wrong)
		}
	}
}

// TestParsePressureExactly: decimals in any unit come to the nearest pascal, against
// fractions without rounding.
func TestParsePressureExactly(t *testing.T) {
	exact, _, _ := exactPSI(t)
	sizes := map[PressureUnit]*big.Rat{
		InBar: big.NewRat(100_000, 1), InMegapascals: big.NewRat(1_000_000, 1), InKilopascals: big.NewRat(1_000, 1), InPSI: exact,
	}
	random := rand.New(rand.NewPCG(8, 11))
	for range 20_000 {
		u := PressureUnits()[random.IntN(4)]
		text := fmt.Sprintf("%d.%0*d", random.IntN(900), 1+random.IntN(4), 1+random.IntN(9))
		number, _ := new(big.Rat).SetString(text)
		want := nearestPascal(number.Mul(number, sizes[u]))
		if got, err := ParsePressure(text + string(u)); err != nil || got != want {
			t.Fatalf("%s %s: %d Pa, %v, want %d", text, u, got, err, want)
		}
	}
}

func TestPressureText(t *testing.T) {
	for _, c := range []struct {
		p                        Pressure
		unit                     PressureUnit
		bar, mpa, kpa, psi, both string
	}{
		{350 * Bar, InBar, "350 bar", "35 MPa", "35000 kPa", "5076 psi", "350 bar (5076 psi)"},
		{34_473_786, InPSI, "344.7 bar", "34.47 MPa", "34474 kPa", "5000 psi", "344.7 bar (5000 psi)"},
		{34_500_000, InBar, "345 bar", "34.5 MPa", "34500 kPa", "5004 psi", "345 bar (5004 psi)"},
		{6_895, InPSI, "0.1 bar", "0.01 MPa", "7 kPa", "1 psi", "0.1 bar (1 psi)"},
		{6_894, InBar, "0.1 bar", "0.01 MPa", "7 kPa", "1 psi", "0.1 bar (1 psi)"},
		{34_470_000, InBar, "344.7 bar", "34.47 MPa", "34470 kPa", "4999 psi", "344.7 bar (4999 psi)"},
		{0, InBar, "0 bar", "0 MPa", "0 kPa", "0 psi", "0 bar (0 psi)"},
		{MostPressure, InBar, "10000 bar", "1000 MPa", "1000000 kPa", "145038 psi", "10000 bar (145038 psi)"},
	} {
		for u, want := range map[PressureUnit]string{InBar: c.bar, InMegapascals: c.mpa, InKilopascals: c.kpa, InPSI: c.psi} {
			if got := c.p.Text(u); got != want {
				t.Errorf("%d Pa: %q, want %q", c.p, got, want)
			}
		}
		if got := c.p.String(); got != c.both {
			t.Errorf("%d Pa: %q, want %q", c.p, got, c.both)
		}
		if got := c.p.Unit(); got != c.unit {
			t.Errorf("%d Pa were typed in %s, want %s", c.p, got, c.unit)
		}
	}
	if got := (350 * Bar).Bars(); got != 350 {
		t.Errorf("350 bar are %v bar", got)
	}
	near(t, "1 bar in psi", Bar.PSI(), 14.503773773, 1e-10) // by hand: 100,000 / 6894.757293168
	if got := Pressure(7).Text("Pa"); got != "7 Pa" {
		t.Errorf("7 Pa are %q", got)
	}
}

// TestPressureUnit: what is typed in whole psi, or in tenths of a bar, is shown as it
// was typed.
func TestPressureUnit(t *testing.T) {
	for n := 1; n <= 20_000; n++ {
		for _, text := range []string{fmt.Sprint(n, " psi"), strconv.FormatFloat(float64(n)/10, 'f', -1, 64) + " bar"} {
			p := mustPressure(t, text)
			if got := p.Text(p.Unit()); got != text && p%(Bar/10) != 0 {
				t.Fatalf("%s is shown as %s", text, got)
			}
			if strings.HasSuffix(text, "bar") && p.Unit() != InBar {
				t.Fatalf("%s was typed in %s", text, p.Unit())
			}
		}
	}
}

// FuzzPressure: what is read is within bounds and comes back from any unit; what is
// not is told with what was written.
func FuzzPressure(f *testing.F) {
	for _, s := range []string{"350bar", "5000 psi", "35MPa", "35000kPa", "", "1.2.3bar", "-1bar", "1e9psi", "0.00001 bar", "mPa", "９bar", "9" + strings.Repeat("9", 330) + "psi"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePressure(s)
		if err != nil {
			if p != 0 || strings.TrimSpace(s) != "" && !strings.Contains(err.Error(), fmt.Sprintf("pressure %q", s)) {
				t.Errorf("%q: %d, %v", s, p, err)
			}
			return
		}
		if p < 1 || p > MostPressure {
			t.Errorf("%q: %d Pa", s, p)
		}
		for _, u := range PressureUnits() {
			again, err := ParsePressure(p.text(u, 9))
			if err != nil || again != p {
				t.Errorf("%q: %d Pa in %s come back as %d, %v", s, p, u, again, err)
			}
		}
		if text := p.Text(p.Unit()); !strings.HasSuffix(text, " "+string(p.Unit())) {
			t.Errorf("%q: %q", s, text)
		}
	})
}
