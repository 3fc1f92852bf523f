package crimp

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
)

func mustLength(t *testing.T, s string) Length {
	t.Helper()
	l, err := ParseLength(s)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestParseLength(t *testing.T) {
	for _, c := range []struct {
		name, in string
		want     Length
		wrong    string
	}{
		{name: "inch", in: "1.204in", want: 30_581_600},
		{name: "blank before the unit", in: " 30.58 mm ", want: 30_580_000},
		{name: "half a thousandth", in: "0.0005in", want: 12_700},
		{name: "a hundred-thousandth of an inch", in: "0.00001in", want: 254},
		{name: "five millionths of an inch", in: "0.000005in", want: 127},
		{name: "negative", in: "-0.01mm", want: -10_000},
		{name: "a nanometre", in: "0.000001mm", want: 1},
		{name: "trailing zeros", in: "1.2040000000in", want: 30_581_600},
		{name: "whole", in: "25mm", want: 25_000_000},
		{name: "no digits after the point", in: "1.in", want: 25_400_000},
		{name: "the longest", in: "1000000mm", want: maxLength},
		{name: "no unit", in: "1.204", wrong: "has no unit"},
		{name: "empty", in: "", wrong: "empty length"},
		{name: "only a unit", in: "mm", wrong: "not a plain decimal"},
		{name: "decimal comma", in: "1,204in", wrong: "not a plain decimal"},
		{name: "exponent", in: "1e3mm", wrong: "not a plain decimal"},
		{name: "two points", in: "1.2.3mm", wrong: "not a plain decimal"},
		{name: "below a nanometre", in: "0.00000001mm", wrong: "finer than a nanometre"},
		{name: "no whole nanometres", in: "0.000001in", wrong: "not a whole number of nanometres"},
		{name: "too long", in: "1000000.1mm", wrong: "longer than a kilometre"},
		{name: "too many digits", in: "99999999999999999999mm", wrong: "too many digits"},
	} {
		got, err := ParseLength(c.in)
		switch {
		case c.wrong == "" && (err != nil || got != c.want):
			t.Errorf("%s: ParseLength(%q) = %d, %v, want %d", c.name, c.in, got, err, c.want)
		case c.wrong != "" && (err == nil || !strings.Contains(err.Error(), c.wrong)):
			t.Errorf("%s: ParseLength(%q) = %d, %v, want an error with %q", c.name, c.in, got, err, c.wrong)
		}
	}
}

func TestLengthText(t *testing.T) {
	for _, c := range []struct {
		l        Length
		u        Unit
		decimals int
		want     string
	}{
		{30_581_600, Inches, 4, "1.2040 in"},
		{30_581_600, Millimetres, 3, "30.582 mm"},
		{-12_700, Inches, 3, "-0.001 in"}, // half away from zero
		{12_699, Inches, 3, "0.000 in"},
		{-1, Millimetres, 2, "0.00 mm"},
		{25_400_000, Inches, 0, "1 in"},
	} {
		if got := c.l.Text(c.u, c.decimals); got != c.want {
			t.Errorf("%d as %s: %q, want %q", c.l, c.u, got, c.want)
		}
	}
}

func FuzzLength(f *testing.F) {
	f.Add("1.204in")
	f.Add("-0.000001mm")
	f.Fuzz(func(t *testing.T, s string) {
		l, err := ParseLength(s)
		if err != nil {
			return
		}
		again, err := ParseLength(l.String())
		if err != nil || again != l {
			t.Fatalf("%q is %d, written %q, read again %d, %v", s, l, l.String(), again, err)
		}
		b, err := json.Marshal(l)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, &again); err != nil || again != l {
			t.Fatalf("JSON %s of %d reads %d, %v", b, l, again, err)
		}
	})
}

func TestJudge(t *testing.T) {
	spec := Spec{Diameter: 30 * Millimetre, Plus: 100 * Micrometre, Minus: 100 * Micrometre, Recrimps: 1}
	mm := func(values ...float64) (out []Length) {
		for _, v := range values {
			out = append(out, Length(math.Round(v*1e6)))
		}
		return out
	}
	for _, c := range []struct {
		name     string
		readings []Length
		crimp    int
		u        float64
		rules    Rules
		want     Outcome
	}{
		{"on target", mm(30, 30, 30), 1, 0, Rules{}, Pass},
		{"the upper limit is within", mm(30.1, 30.1), 1, 0, Rules{}, Pass},
		{"the lower limit is within", mm(29.9, 29.9), 1, 0, Rules{}, Pass},
		{"a nanometre over, of three readings", mm(30.1, 30.1, 30.100001), 1, 0, Rules{}, Recrimp},
		{"a nanometre under", mm(29.9, 29.899999), 1, 0, Rules{}, Scrap},
		{"over, crimped again already", mm(30.2), 2, 0, Rules{}, Scrap},
		{"the mean counts, not one reading", mm(30.15, 29.95, 30.0), 1, 0, Rules{}, Pass},
		{"out of round", mm(30.05, 29.95), 1, 0, Rules{Ovality: 99 * Micrometre}, Scrap},
		{"the limit of ovality is within", mm(30.05, 29.95), 1, 0, Rules{Ovality: 100 * Micrometre}, Pass},
		{"inside the guard band", mm(30.06), 1, 20_000, Rules{Confidence: 0.95}, Pass},
		{"in the guard band", mm(30.08), 1, 20_000, Rules{Confidence: 0.95}, Unsure},
		{"beyond the limit, in the guard band", mm(30.12), 1, 20_000, Rules{Confidence: 0.95}, Unsure},
		{"proved over", mm(30.14), 1, 20_000, Rules{Confidence: 0.95}, Recrimp},
		{"proved under", mm(29.86), 1, 20_000, Rules{Confidence: 0.95}, Scrap},
		{"uncertainty without guard band", mm(30.1), 1, 20_000, Rules{}, Pass},
	} {
		v := Judge(spec, c.readings, c.crimp, c.u, c.rules)
		if v.Outcome != c.want {
			t.Errorf("%s: %s (%s), want %s", c.name, v.Outcome, v.Reason, c.want)
		}
		if v.Reason == "" {
			t.Errorf("%s: no reason", c.name)
		}
	}
	v := Judge(spec, mm(30.01, 30.02, 30.02), 1, 0, Rules{})
	if v.Mean != 30_016_667 || v.Deviation != 16_667 || v.Ovality != 10_000 || v.Readings != 3 {
		t.Errorf("%+v", v)
	}
	if !math.IsNaN(v.Conformity) {
		t.Errorf("conformity %v without an uncertainty", v.Conformity)
	}
}

// TestOneToOne: setting 120 and 0.035 in too large means 085 (common practice, no source).
func TestOneToOne(t *testing.T) {
	scale := Scale{Step: Thousandth, Highest: 999}
	off := mustLength(t, "0.035in")
	e := Model{Noise: 1}.Update(Estimate{}, float64(off), 1)
	if a := scale.Next(e, 0, 120, 120, 0); a.Setting != 85 || a.Change != -35 {
		t.Errorf("next %+v, want 085", a)
	}
	if a := scale.Again(off, 120, 120); a.Setting != 85 || a.Change != -35 {
		t.Errorf("again %+v, want 085", a)
	}
	scale.Smaller = true
	if a := scale.Next(e, 0, 120, 120, 0); a.Setting != 155 {
		t.Errorf("a larger setting makes it smaller: next %+v, want 155", a)
	}
}

func TestAdvice(t *testing.T) {
	scale := Scale{Step: Thousandth, Lowest: 50, Highest: 200}
	known := func(counts float64) Estimate { return Estimate{Offset: counts * float64(Thousandth), N: 1} }
	for _, c := range []struct {
		name             string
		offset           float64
		nominal, dialled int
		hold             Length
		want             Advice
	}{
		{"a tie goes to the larger diameter", 35.5, 120, 85, 0, Advice{Setting: 85}},
		{"rounded to a count", 35.6, 120, 85, 0, Advice{Setting: 84, Change: -1}},
		{"corrected already", 35, 120, 85, 0, Advice{Setting: 85}},
		{"within the dead band", 1.9, 120, 120, 2 * Thousandth, Advice{Setting: 120, Held: true}},
		{"at the dead band", 2, 120, 120, 2 * Thousandth, Advice{Setting: 118, Change: -2}},
		{"the dead band is about what is to come", 35, 120, 85, 2 * Thousandth, Advice{Setting: 85, Held: true}},
		{"too low to dial", 100, 120, 120, 0, Advice{Setting: 50, Change: -70, Clamped: true}},
		{"too high to dial", -100, 120, 120, 0, Advice{Setting: 200, Change: 80, Clamped: true}},
	} {
		if got := scale.Next(known(c.offset), 0, c.nominal, c.dialled, c.hold); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
	if a := scale.Again(Thousandth/4, 120, 120); a.Setting != 119 {
		t.Errorf("a crimp that is hardly over closes by at least one count: %+v", a)
	}
}

func TestAddMonths(t *testing.T) {
	day := func(s string) time.Time {
		at, err := time.Parse(time.DateOnly, s)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	for _, c := range [][2]string{
		{"2026-03-02", "2026-09-02"}, {"2026-08-31", "2027-02-28"}, {"2027-08-31", "2028-02-29"}, {"2026-12-31", "2027-06-30"},
	} {
		if got := AddMonths(day(c[0]), 6); !got.Equal(day(c[1])) {
			t.Errorf("six months after %s: %s, want %s", c[0], got.Format(time.DateOnly), c[1])
		}
	}
}

// TestZones: the four answers about a mean and a limit, and what they rest on.
func TestZones(t *testing.T) {
	spec := Spec{Unit: Inches, Diameter: 1200 * Thousandth, Plus: 5 * Thousandth, Minus: 5 * Thousandth, Recrimps: 1}
	const u = float64(Thousandth) // a guard band of 1.645 thousandths at 0.95
	for _, c := range []struct {
		off        Length // of the mean, tenths of a thousandth
		confidence float64
		zone       Zone
		outcome    Outcome
	}{
		{0, 0.95, Inside, Pass},
		{33, 0.95, Inside, Pass},
		{34, 0.95, NearInside, Unsure},
		{50, 0.95, NearInside, Unsure},
		{51, 0.95, NearOutside, Unsure},
		{66, 0.95, NearOutside, Unsure},
		{67, 0.95, Outside, Recrimp},
		{-34, 0.95, NearInside, Unsure},
		{-66, 0.95, NearOutside, Unsure},
		{-67, 0.95, Outside, Scrap},
		{34, 0, NearInside, Pass}, // simple acceptance: the zone is told all the same
		{51, 0, NearOutside, Recrimp},
		{-51, 0, NearOutside, Scrap},
	} {
		v := Judge(spec, []Length{spec.Diameter + c.off*Thousandth/10}, 1, u, Rules{Confidence: c.confidence})
		if v.Zone != c.zone || v.Outcome != c.outcome {
			t.Errorf("%d tenths of a thousandth off, confidence %g: %s, %s; want %s, %s", c.off, c.confidence, v.Zone, v.Outcome, c.zone, c.outcome)
		}
	}
	if v := Judge(spec, []Length{spec.Diameter}, 1, 0, Rules{Confidence: 0.95}); v.Zone != "" || v.Outcome != Pass {
		t.Errorf("without an uncertainty: zone %q, %s", v.Zone, v.Outcome)
	}
	low := Judge(spec, []Length{spec.Lower() + Thousandth}, 1, u, Rules{Confidence: 0.95})
	if want := "0.0010 in over the lower limit, nearer than the guard band of 0.0016 in: the caliper cannot tell"; low.Reason != want {
		t.Errorf("reason %q, want %q", low.Reason, want)
	}
}

func TestHint(t *testing.T) {
	spec := Spec{Unit: Inches, Diameter: 1200 * Thousandth, Plus: 5 * Thousandth, Minus: 5 * Thousandth}
	rules := Rules{Caliper: 20 * Micrometre}
	for _, c := range []struct {
		name     string
		off      []Length // thousandths
		contains string
	}{
		{"alike", []Length{1, 1, 2}, ""},
		{"one on a ridge", []Length{0, 5, 1}, "place 2 is 0.0040 in larger than the others: on a ridge"},
		{"flats and ridges", []Length{0, 6, 1, 6}, "two groups 0.0050 in apart"},
		{"a misread place", []Length{0, 90, 0}, "place 2 is 0.0900 in larger than the others: read wrong?"},
		{"too few to tell", []Length{0, 6}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var readings []Length
			for _, off := range c.off {
				readings = append(readings, spec.Diameter+off*Thousandth)
			}
			got := Judge(spec, readings, 1, 0, rules).Hint
			if c.contains == "" && got != "" || !strings.Contains(got, c.contains) {
				t.Errorf("hint %q, want %q", got, c.contains)
			}
			if hint := Judge(spec, readings, 1, 0, Rules{}).Hint; hint != "" {
				t.Errorf("hint %q although nothing is known of the caliper", hint)
			}
		})
	}
}
