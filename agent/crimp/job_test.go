package crimp

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// card is a job card with a fitting at each end: 1,000 mm overall, 40 and 25 mm of
// it the fittings'.
func card() Job {
	return Job{
		Order: "A-1001", Quantity: 10, Hose: Part{Name: "hose 8", Maker: "M1"}, Length: 1000 * Millimetre,
		Ends: [2]End{
			{Spec: "hs-08", Fitting: Part{Name: "straight 8", Maker: "M1"}, CutOff: 40 * Millimetre},
			{Spec: "he-08", Fitting: Part{Name: "elbow 8", Maker: "M1"}, CutOff: 25 * Millimetre},
		},
	}
}

func TestCut(t *testing.T) {
	for _, c := range []struct {
		name  string
		with  func(*Job)
		want  string
		wrong string
	}{
		{name: "two fittings", with: func(*Job) {}, want: "935mm"},
		{name: "inches", with: func(j *Job) {
			j.Length, j.Ends[0].CutOff, j.Ends[1].CutOff = 40*Inch, Inch+Inch/2, 3*Inch/4
		}, want: "37.75in"},
		{name: "one fitting", with: func(j *Job) { j.Ends[1] = End{} }, want: "960mm"},
		{name: "one fitting, an allowance of nothing is not asked for", with: func(j *Job) { j.Ends[1] = End{CutOff: 25 * Millimetre} }, want: "960mm"},
		{name: "a fitting that is put on elsewhere", with: func(j *Job) { j.Ends[1].Spec = "" }, want: "935mm"},
		{name: "a specification without a fitting's name", with: func(j *Job) { j.Ends[1].Fitting = Part{} }, want: "935mm"},
		{name: "a fitting at B alone", with: func(j *Job) { j.Ends[0] = End{} }, want: "975mm"},
		{name: "bare hose", with: func(j *Job) { j.Ends = [2]End{} }, want: "1000mm"},
		{name: "a nanometre left", with: func(j *Job) { j.Length = 65*Millimetre + 1 }, want: "0.000001mm"},
		{name: "nothing left", with: func(j *Job) { j.Length = 65 * Millimetre }, wrong: "the fittings alone take 65mm of 65mm overall: nothing is left for the hose"},
		{name: "less than nothing left", with: func(j *Job) { j.Length = 60 * Millimetre }, wrong: "the fittings alone take 65mm of 60mm overall"},
		{name: "no length", with: func(j *Job) { j.Length = 0 }, wrong: "no overall length is given"},
		{name: "less than no length", with: func(j *Job) { j.Length = -Millimetre }, wrong: "an overall length of -1mm: want more than nothing"},
		{name: "no allowance at A", with: func(j *Job) { j.Ends[0].CutOff = 0 }, wrong: "the cut-off allowance of end A is not given"},
		{name: "no allowance at B", with: func(j *Job) { j.Ends[1].CutOff = 0 }, wrong: "the cut-off allowance of end B is not given"},
		{name: "no allowance at B, put on elsewhere", with: func(j *Job) { j.Ends[1].Spec, j.Ends[1].CutOff = "", 0 }, wrong: "the cut-off allowance of end B is not given"},
		{name: "an allowance below nothing", with: func(j *Job) { j.Ends[1].CutOff = -1 }, wrong: "a cut-off allowance of -0.000001mm at end B: want more than nothing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			j := card()
			c.with(&j)
			got, err := j.Cut()
			switch {
			case c.wrong != "":
				if err == nil || !strings.Contains(err.Error(), c.wrong) || got != 0 {
					t.Errorf("%s, %v, want an error with %q", got, err, c.wrong)
				}
			case err != nil || got != mustLength(t, c.want):
				t.Errorf("%s, %v, want %s", got, err, c.want)
			}
		})
	}
}

// TestCutAddsUp: what is cut and what the fittings add is the overall length, to the
// nanometre and whatever the unit, or there is nothing to cut; a longer assembly wants
// as much more hose.
func TestCutAddsUp(t *testing.T) {
	random := rand.New(rand.NewPCG(40, 25))
	cuts := 0
	for range 20_000 {
		grain := []Length{1, Millimetre / 10, Inch / 64, Thousandth}[random.IntN(4)] // 1/64 in is whole nanometres
		some := func() Length { return grain * Length(1+random.IntN(10_000)) }
		j := card()
		j.Length, j.Ends[0].CutOff, j.Ends[1].CutOff = some(), some(), some()
		if random.IntN(3) == 0 {
			j.Ends[1] = End{}
		}
		allowances := j.Ends[0].CutOff + j.Ends[1].CutOff
		cut, err := j.Cut()
		if (err == nil) != (j.Length > allowances) {
			t.Fatalf("%s overall, %s allowances: %v", j.Length, allowances, err)
		}
		if err != nil {
			continue
		}
		cuts++
		if cut+allowances != j.Length || cut <= 0 || cut%grain != 0 {
			t.Fatalf("%s cut and %s allowances are not %s", cut, allowances, j.Length)
		}
		j.Length += grain
		if more, err := j.Cut(); err != nil || more != cut+grain {
			t.Fatalf("%s longer: %s, %v, was %s", grain, more, err, cut)
		}
	}
	if cuts < 1000 {
		t.Errorf("only %d could be cut", cuts)
	}
}

func TestJobTolerance(t *testing.T) {
	j := card()
	for _, c := range []struct {
		name        string
		plus, minus Length
		length      Length
		scheme      Scheme
		wantPlus    string
		wantMinus   string
		wrong       string
	}{
		{name: "by the card", plus: 3 * Millimetre, minus: Millimetre, length: j.Length, scheme: EN, wantPlus: "3mm", wantMinus: "1mm"},
		{name: "by the card, one side", minus: Millimetre, length: j.Length, scheme: EN, wantPlus: "0mm", wantMinus: "1mm"},
		{name: "by the card, the other side", plus: Millimetre, length: j.Length, scheme: EN, wantPlus: "1mm", wantMinus: "0mm"},
		{name: "by the card, no scheme", plus: Millimetre, length: j.Length, wantPlus: "1mm", wantMinus: "0mm"},
		{name: "by EN", length: j.Length, scheme: EN, wantPlus: "12mm", wantMinus: "4mm"},
		{name: "by SAE", length: j.Length, scheme: SAE, wantPlus: "10mm", wantMinus: "10mm"},
		{name: "by nothing", length: j.Length, wantPlus: "0mm", wantMinus: "0mm", wrong: `want "EN" or "SAE"`},
		{name: "of nothing", scheme: EN, wantPlus: "0mm", wantMinus: "0mm", wrong: "more than nothing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			j := j
			j.Length, j.Plus, j.Minus = c.length, c.plus, c.minus
			plus, minus, err := j.Tolerance(c.scheme)
			if (err != nil) != (c.wrong != "") || err != nil && !strings.Contains(err.Error(), c.wrong) {
				t.Errorf("error %v, want %q", err, c.wrong)
			}
			if plus != mustLength(t, c.wantPlus) || minus != mustLength(t, c.wantMinus) {
				t.Errorf("+%s −%s, want +%s −%s", plus, minus, c.wantPlus, c.wantMinus)
			}
		})
	}
}

func TestEnds(t *testing.T) {
	j := card()
	if got := j.EndNames(); !slices.Equal(got, []EndName{EndA, EndB}) {
		t.Errorf("ends %v", got)
	}
	if a, b, none := j.End(EndA).Spec, j.End(EndB).Spec, j.End(NoEnd).Spec; a != "hs-08" || b != "he-08" || none != "hs-08" {
		t.Errorf("A is %q, B is %q, without a name %q", a, b, none)
	}
	j.Ends[1].Spec = ""
	if got := j.EndNames(); !slices.Equal(got, []EndName{EndA}) {
		t.Errorf("ends %v, only A is crimped here", got)
	}
	for _, c := range []struct {
		end, other EndName
		index      int
	}{{EndA, EndB, 0}, {EndB, EndA, 1}, {NoEnd, EndA, 0}} {
		if c.end.Index() != c.index || c.end.Other() != c.other {
			t.Errorf("end %q: index %d, across is %q", c.end, c.end.Index(), c.end.Other())
		}
	}
}

func TestMixed(t *testing.T) {
	const wanted = " Mixing makers wants the written word of both."
	for _, c := range []struct {
		name, hose, a, b string
		crimpedB         bool
		mixed            []EndName
		caution          string
	}{
		{name: "all of one", hose: "M1", a: "M1", b: "M1", crimpedB: true},
		{name: "in other letters", hose: "Maker One", a: "MAKER ONE", b: "maker one", crimpedB: true},
		{name: "nothing told", crimpedB: true},
		{name: "the hose's is not told", a: "F1", b: "F2", crimpedB: true},
		{name: "the fittings' are not told", hose: "M1", crimpedB: true},
		{name: "at A", hose: "M1", a: "F2", b: "M1", crimpedB: true, mixed: []EndName{EndA},
			caution: "End A: hose of maker M1, fitting of maker F2." + wanted},
		{name: "at B", hose: "M1", a: "M1", b: "F2", crimpedB: true, mixed: []EndName{EndB},
			caution: "End B: hose of maker M1, fitting of maker F2." + wanted},
		{name: "at B, nothing told of A", hose: "M1", b: "F2", crimpedB: true, mixed: []EndName{EndB},
			caution: "End B: hose of maker M1, fitting of maker F2." + wanted},
		{name: "at both", hose: "M1", a: "F2", b: "F3", crimpedB: true, mixed: []EndName{EndA, EndB},
			caution: "End A: hose of maker M1, fitting of maker F2. End B: hose of maker M1, fitting of maker F3." + wanted},
		{name: "only A is crimped here", hose: "M1", a: "M1", b: "F2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			j := card()
			j.Hose.Maker, j.Ends[0].Fitting.Maker, j.Ends[1].Fitting.Maker = c.hose, c.a, c.b
			if !c.crimpedB {
				j.Ends[1].Spec = ""
			}
			if got := j.Mixed(); !slices.Equal(got, c.mixed) {
				t.Errorf("mixed at %v, want %v", got, c.mixed)
			}
			if got := j.Caution(); got != c.caution {
				t.Errorf("caution %q, want %q", got, c.caution)
			}
		})
	}
}
