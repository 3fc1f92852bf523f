package crimp

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// trial is one case of judging, made at random: near the limits, and on them,
// far more often than at the press.
type trial struct {
	spec     Spec
	readings []Length
	crimp    int
	u        float64
	rules    Rules
}

// trials are the same at each run.
const trials = 20_000

// unit is what all lengths of a trial are multiples of, so that means lie on
// limits and readings are alike.
const unit = 100 * Nanometre

func randomTrial(random *rand.Rand) trial {
	c := trial{
		spec: Spec{
			Diameter: Length(100_000+random.IntN(300_000)) * unit,
			Plus:     Length(random.IntN(30)) * unit,
			Minus:    Length(random.IntN(30)) * unit,
			Recrimps: random.IntN(3),
		},
		readings: make([]Length, 1+random.IntN(8)),
		crimp:    1 + random.IntN(3),
	}
	middle := c.spec.Diameter + Length(random.IntN(101)-50)*unit
	for i := range c.readings {
		c.readings[i] = middle + Length(random.IntN(21)-10)*unit
	}
	if random.IntN(4) > 0 {
		c.u = float64(unit) * (0.1 + 10*random.Float64())
	}
	if random.IntN(3) > 0 {
		c.rules.Confidence = []float64{0.5, 0.8, 0.95, 0.999}[random.IntN(4)]
	}
	if random.IntN(2) > 0 {
		c.rules.Ovality = Length(1+random.IntN(20)) * unit
	}
	return c
}

func (c trial) judge() Verdict { return Judge(c.spec, c.readings, c.crimp, c.u, c.rules) }

// times is the trial with every length multiplied.
func (c trial) times(factor Length) trial {
	c.spec.Diameter *= factor
	c.spec.Plus *= factor
	c.spec.Minus *= factor
	c.readings = slices.Clone(c.readings)
	for i := range c.readings {
		c.readings[i] *= factor
	}
	c.u *= float64(factor)
	c.rules.Ovality *= factor
	return c
}

// String is the trial for a message.
func (c trial) String() string {
	return fmt.Sprintf("%s +%s −%s, %d re-crimps, crimp %d, readings %v, u %.1f nm, %+v",
		c.spec.Diameter, c.spec.Plus, c.spec.Minus, c.spec.Recrimps, c.crimp, c.readings, c.u, c.rules)
}

// sides says how far the sum of the readings is over the upper limit and under
// the lower one, as many times as there are readings.
func (c trial) sides() (over, under Length) {
	sum, n := Length(0), Length(len(c.readings))
	for _, r := range c.readings {
		sum += r
	}
	return sum - c.spec.Upper()*n, c.spec.Lower()*n - sum
}

// forTrials runs a check on all trials and counts outcomes, so that a check that
// never met one of them is seen.
func forTrials(t *testing.T, check func(t *testing.T, random *rand.Rand, c trial, v Verdict)) {
	t.Helper()
	random := rand.New(rand.NewPCG(1, 2026))
	met := map[Outcome]int{}
	for range trials {
		c := randomTrial(random)
		v := c.judge()
		met[v.Outcome]++
		check(t, random, c, v)
		if t.Failed() {
			return
		}
	}
	for _, o := range []Outcome{Pass, Recrimp, Scrap, Unsure} {
		if met[o] < trials/50 {
			t.Errorf("%s in %d of %d trials: they say little", o, met[o], trials)
		}
	}
}

// sameConformity compares probabilities that were computed in another order of
// the same steps; two NaN are the same.
func sameConformity(a, b float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-9
}

// TestJudgeScales: all lengths multiplied by a whole number leave the outcome,
// and multiply what is a length. So it does not matter whether the same figures
// are told in millimetres or in inches, which are 254 tenths of one.
func TestJudgeScales(t *testing.T) {
	forTrials(t, func(t *testing.T, random *rand.Rand, c trial, v Verdict) {
		factor := []Length{2, 10, 254, Length(1 + random.IntN(1000))}[random.IntN(4)]
		w := c.times(factor).judge()
		// The mean is rounded to a nanometre before it is multiplied, or after.
		if w.Outcome != v.Outcome || w.Ovality != v.Ovality*factor || (w.Mean-v.Mean*factor).Abs() > factor ||
			!sameConformity(w.Conformity, v.Conformity) {
			t.Errorf("%v: %s, mean %s, conformity %v; %d times as large %s, %s, %v",
				c, v.Outcome, v.Mean, v.Conformity, factor, w.Outcome, w.Mean, w.Conformity)
		}
	})
}

// TestJudgeInEitherUnit: the same lengths told in inches and in millimetres are
// the same lengths, and the sheet's unit only changes the words.
func TestJudgeInEitherUnit(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2026))
	for range 2000 {
		// Tenths of a thousandth of an inch, told as inches and as millimetres.
		told := func(tenths int) (inches, millimetres Length) {
			nm := int64(tenths) * 2540
			return mustLength(t, fmt.Sprintf("%d.%04din", tenths/10_000, tenths%10_000)),
				mustLength(t, fmt.Sprintf("%d.%06dmm", nm/1_000_000, nm%1_000_000))
		}
		var a, b trial
		diameter := 5_000 + random.IntN(20_000)
		a.spec.Diameter, b.spec.Diameter = told(diameter)
		a.spec.Plus, b.spec.Plus = told(random.IntN(50))
		a.spec.Minus, b.spec.Minus = told(random.IntN(50))
		a.spec.Unit, b.spec.Unit = Inches, Millimetres
		a.crimp, b.crimp = 1, 1
		a.spec.Recrimps, b.spec.Recrimps = 1, 1
		for range 3 {
			r, s := told(diameter + random.IntN(121) - 60)
			a.readings, b.readings = append(a.readings, r), append(b.readings, s)
		}
		a.u, b.u = 5000, 5000
		a.rules.Confidence, b.rules.Confidence = 0.95, 0.95
		v, w := a.judge(), b.judge()
		w.Reason = v.Reason
		if v != w {
			t.Fatalf("%v in inches:\n%+v\nin millimetres:\n%+v", a, v, w)
		}
	}
}

// TestJudgeTakesReadingsInAnyOrder.
func TestJudgeTakesReadingsInAnyOrder(t *testing.T) {
	forTrials(t, func(t *testing.T, random *rand.Rand, c trial, v Verdict) {
		mixed := c
		mixed.readings = slices.Clone(c.readings)
		random.Shuffle(len(mixed.readings), func(i, j int) {
			mixed.readings[i], mixed.readings[j] = mixed.readings[j], mixed.readings[i]
		})
		w := mixed.judge()
		if w.Outcome != v.Outcome || w.Mean != v.Mean || w.Deviation != v.Deviation || w.Ovality != v.Ovality ||
			w.Reason != v.Reason || !(w.Conformity == v.Conformity || math.IsNaN(w.Conformity) && math.IsNaN(v.Conformity)) {
			t.Errorf("%v: %+v, in another order %+v", c, v, w)
		}
	})
}

// TestJudgeIsOneSided: an undersize crimp stays scrap however much smaller a
// reading gets, and never passes; an oversize one never passes by growing.
func TestJudgeIsOneSided(t *testing.T) {
	forTrials(t, func(t *testing.T, random *rand.Rand, c trial, v Verdict) {
		over, under := c.sides()
		if over <= 0 && under <= 0 {
			return
		}
		if v.Outcome == Pass {
			t.Errorf("%v: beyond a limit and passed", c)
		}
		want := Scrap
		if over > 0 && c.crimp <= c.spec.Recrimps {
			want = Recrimp
		}
		if (c.u == 0 || c.rules.Confidence == 0) && v.Outcome != want {
			t.Errorf("%v: %s, want %s", c, v.Outcome, want)
		}
		change := Length(1+random.IntN(30)) * unit
		further := c
		further.rules.Ovality = 0
		before := further.judge()
		if under > 0 {
			change = -change
		}
		further.readings = slices.Clone(c.readings)
		further.readings[random.IntN(len(c.readings))] += change
		after := further.judge()
		proved := before.Outcome != Unsure
		if after.Outcome == Pass || proved && after.Outcome != before.Outcome {
			t.Errorf("%v: %s, with a reading changed by %s %s", c, before.Outcome, change, after.Outcome)
		}
		if under > 0 && after.Outcome == Recrimp {
			t.Errorf("%v: undersize, and to be crimped again", further)
		}
	})
}

// TestGuardBandOnlyDoubts: to prove conformity turns what would pass, what would
// be crimped again and what would be scrap into unsure, and nothing else into
// anything else. A wider band doubts no less.
func TestGuardBandOnlyDoubts(t *testing.T) {
	turned := map[Outcome]int{}
	forTrials(t, func(t *testing.T, random *rand.Rand, c trial, _ Verdict) {
		simple, guarded := c, c
		simple.rules.Confidence = 0
		guarded.rules.Confidence = 0.5 + random.Float64()*0.4999
		if guarded.u == 0 {
			guarded.u = float64(unit) * (0.1 + 5*random.Float64())
		}
		if v, w := simple.judge(), guarded.judge(); w.Outcome == Pass && v.Outcome != Pass {
			t.Errorf("%v: %s, and %s with a guard band", guarded, v.Outcome, w.Outcome)
		}
		v, w := simple.judge(), guarded.judge()
		if w.Outcome != v.Outcome {
			turned[v.Outcome]++
			if w.Outcome != Unsure {
				t.Errorf("%v: %s, and %s with a guard band", guarded, v.Outcome, w.Outcome)
			}
		}
		wider := guarded
		wider.u *= 1 + random.Float64()
		if x := wider.judge(); w.Outcome == Unsure && x.Outcome != Unsure {
			t.Errorf("%v: unsure, and %s with a wider guard band", guarded, x.Outcome)
		}
	})
	for _, o := range []Outcome{Pass, Recrimp, Scrap} {
		if turned[o] < trials/100 {
			t.Errorf("%s turned unsure in %d trials: they say little", o, turned[o])
		}
	}
}

// TestGuardBandProves: a pass has the demanded probability on each side, a
// re-crimp or scrap is as probably beyond a limit, and unsure is neither.
func TestGuardBandProves(t *testing.T) {
	forTrials(t, func(t *testing.T, _ *rand.Rand, c trial, _ Verdict) {
		c.rules.Ovality = 0
		p := c.rules.Confidence
		if p == 0 || c.u == 0 {
			return
		}
		sum := Length(0)
		for _, r := range c.readings {
			sum += r
		}
		mean := float64(sum) / float64(len(c.readings))
		above := Conformity(mean, c.u, float64(c.spec.Lower()), math.Inf(1)) // the lower limit
		below := Conformity(mean, c.u, math.Inf(-1), float64(c.spec.Upper()))
		least := min(above, below)
		const rounding = 1e-9
		ok := false
		switch v := c.judge(); v.Outcome {
		case Pass:
			ok = least >= p-rounding
		case Unsure:
			ok = least <= p+rounding && least >= 1-p-rounding
		case Recrimp:
			ok = below <= 1-p+rounding
		case Scrap:
			ok = least <= 1-p+rounding
		}
		if !ok {
			t.Errorf("%v: %s with %v above the lower limit and %v below the upper one", c, c.judge().Outcome, above, below)
		}
	})
}

// TestConformityRisesToTheMiddle: the nearer a value is to the middle of the
// limits, the more probable it is that it is within; as far on either side, as
// probable; and the better it was measured, the more so inside the limits.
func TestConformityRisesToTheMiddle(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 2026))
	const rounding = 1e-14
	for range trials {
		half := 1 + random.Float64()*100
		middle := random.Float64() * 100
		lower, upper := middle-half, middle+half
		u := half * math.Exp(random.NormFloat64()*1.5)
		near, far := random.Float64()*2*half, random.Float64()*2*half
		if near > far {
			near, far = far, near
		}
		inner, outer := Conformity(middle+near, u, lower, upper), Conformity(middle+far, u, lower, upper)
		if inner < outer-rounding {
			t.Fatalf("limits %v and %v, u %v: %v at %v, %v at %v", lower, upper, u, inner, middle+near, outer, middle+far)
		}
		if other := Conformity(middle-near, u, lower, upper); math.Abs(other-inner) > 1e-12 {
			t.Fatalf("limits %v and %v, u %v: %v and %v at %v on either side", lower, upper, u, inner, other, near)
		}
		if inner < 0 || inner > 1 {
			t.Fatalf("a probability of %v", inner)
		}
		if better := Conformity(middle+near, u/2, lower, upper); near < half && better < inner-rounding {
			t.Fatalf("limits %v and %v, at %v: %v with u %v, %v with half of it", lower, upper, middle+near, inner, u, better)
		}
	}
}

func randomScale(random *rand.Rand) Scale {
	s := Scale{Step: Length(1+random.IntN(600)) * unit, Smaller: random.IntN(2) == 0, Lowest: random.IntN(200)}
	s.Highest = s.Lowest + 1 + random.IntN(799)
	return s
}

// TestSettingIsTheNearest: counts are rounded to the nearest, a tie to the
// larger diameter; all lengths multiplied, or told in the other unit, give the
// same counts; a setting that works the other way round turns them.
func TestSettingIsTheNearest(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 2026))
	ties := 0
	for range trials {
		s := randomScale(random)
		d := Length(random.IntN(2_000_001) - 1_000_000)
		if random.IntN(3) == 0 { // a tie
			d = Length(random.IntN(101)-50)*s.Step + s.Step/2
		}
		n := s.Counts(float64(d))
		rest := 2 * (s.Change(n) - d) // twice what rounding adds to the diameter
		if rest > s.Step || rest <= -s.Step {
			t.Fatalf("%+v: %s wants %d counts, which change it by %s", s, d, n, s.Change(n))
		}
		if rest == s.Step {
			ties++
		}
		factor := Length(2 + random.IntN(1000))
		times, turned := s, s
		times.Step *= factor
		turned.Smaller = !s.Smaller
		if got := times.Counts(float64(d * factor)); got != n {
			t.Fatalf("%+v: %s wants %d counts, %d times as large %d", s, d, n, factor, got)
		}
		if got := turned.Counts(float64(d)); got != -n {
			t.Fatalf("%+v: %s wants %d counts, the other way round %d", s, d, n, got)
		}
		setting := random.IntN(1400) - 200
		kept, clamped := s.Clamp(setting)
		again, twice := s.Clamp(kept)
		if kept < s.Lowest || kept > s.Highest || clamped != (kept != setting) || again != kept || twice {
			t.Fatalf("%+v: setting %d is kept at %d, %v", s, setting, kept, clamped)
		}
	}
	if ties < trials/10 {
		t.Errorf("%d ties in %d trials: they say little", ties, trials)
	}
	inch, mm := Scale{Step: mustLength(t, "0.001in")}, Scale{Step: mustLength(t, "0.0254mm")}
	if inch != mm {
		t.Errorf("a thousandth of an inch: %+v and %+v", inch, mm)
	}
}

// TestAgainCloses: the setting for another crimp is smaller than that of the
// last by at least a count, and no more than a count's rounding off the target.
func TestAgainCloses(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 2026))
	for range trials {
		s := randomScale(random)
		crimped := s.Lowest + random.IntN(s.Highest-s.Lowest+1)
		deviation := Length(1 + random.IntN(3_000_000))
		a := s.Again(deviation, crimped, crimped)
		if a.Setting != crimped+a.Change || a.Setting < s.Lowest || a.Setting > s.Highest || a.Held {
			t.Fatalf("%+v: %s over at %d: %+v", s, deviation, crimped, a)
		}
		if a.Clamped {
			continue
		}
		closes := -s.Change(a.Change)
		left := deviation - closes
		if closes < s.Step || 2*left.Abs() > s.Step && closes != s.Step {
			t.Fatalf("%+v: %s over at %d: %+v closes it by %s", s, deviation, crimped, a, closes)
		}
	}
}

// TestNextAimsAtTheAim: the advised setting leaves no more than a count's
// rounding between the aim and what is to be expected, whatever is dialled now;
// what is dialled only matters to the dead band. All lengths multiplied give the
// same advice.
func TestNextAimsAtTheAim(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 2026))
	var held, clamped int
	for range trials {
		s := randomScale(random)
		dial := func() int { return s.Lowest + random.IntN(s.Highest-s.Lowest+1) }
		nominal, dialled := dial(), dial()
		e := Estimate{Offset: float64(random.IntN(2_000_001) - 1_000_000), N: 1}
		aim := float64(random.IntN(100_001) - 50_000)
		hold := Length(0)
		if random.IntN(2) == 0 {
			hold = Length(random.IntN(2_000_000))
		}
		expected := func(setting int) float64 { return e.Offset + float64(s.Change(setting-nominal)) - aim }

		a := s.Next(e, aim, nominal, dialled, hold)
		what := fmt.Sprintf("%+v, %+v, aim %v, nominal %d, dialled %d, hold %s: %+v", s, e, aim, nominal, dialled, hold, a)
		if a.Setting != dialled+a.Change || a.Setting < s.Lowest || a.Setting > s.Highest {
			t.Fatal(what)
		}
		if a.Held != (math.Abs(expected(dialled)) < float64(hold)) || a.Held && a.Change != 0 {
			t.Fatal(what)
		}
		factor := 2 + random.IntN(1000)
		times, large := s, e
		times.Step *= Length(factor)
		large.Offset *= float64(factor)
		if b := times.Next(large, aim*float64(factor), nominal, dialled, hold*Length(factor)); a != b {
			t.Fatalf("%s, %d times as large %+v", what, factor, b)
		}
		switch {
		case a.Held:
			held++
		case a.Clamped:
			// The wanted setting lies beyond the end that is advised.
			clamped++
			if a.Setting != s.Lowest && a.Setting != s.Highest || 2*math.Abs(expected(a.Setting)) < float64(s.Step) {
				t.Fatal(what)
			}
		default:
			if rest := 2 * expected(a.Setting); rest > float64(s.Step) || rest <= -float64(s.Step) {
				t.Fatalf("%s: expected %v beside the aim", what, rest/2)
			}
			if b := s.Next(e, aim, nominal, dial(), 0); b.Setting != a.Setting {
				t.Fatalf("%s, with another setting dialled %+v", what, b)
			}
		}
	}
	if held < trials/20 || clamped < trials/20 {
		t.Errorf("%d held and %d out of reach of %d: they say little", held, clamped, trials)
	}
}
