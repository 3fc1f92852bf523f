package crimp

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// thousandths is the line of settings that are diameters in thousandths.
var thousandths = Line{Step: Thousandth}

// press makes set-ups with these figures, in counts, and the lessons of them.
type press struct {
	rnd                 *rand.Rand
	between, mean       float64 // of the first offsets
	noise, drift, slope float64
	pace                int // strokes a piece
	pieces              int
}

func (p press) setUp() (l Lesson, offsets []float64) {
	l.Line = thousandths
	offset := p.mean + p.between*p.rnd.NormFloat64()
	for i := range p.pieces {
		if i > 0 {
			offset += p.slope + p.drift*math.Sqrt(float64(p.pace))*p.rnd.NormFloat64()
		}
		y := (offset + p.noise*p.rnd.NormFloat64()) * float64(Thousandth)
		offsets = append(offsets, y)
		l.Add(y, 100+i*p.pace)
	}
	return l, offsets
}

func (p press) lessons(n int) (all []Lesson) {
	for range n {
		l, _ := p.setUp()
		all = append(all, l)
	}
	return all
}

// TestLearnByHand: five set-ups whose figures are worked with gonum's mean and
// variance; the rule's factors are in Learn's comment.
func TestLearnByHand(t *testing.T) {
	p := press{rnd: rand.New(rand.NewPCG(1, 1)), between: 2, mean: 3, noise: 1, pace: 1, pieces: 8}
	var lessons []Lesson
	var firsts []float64
	differing, differences := 0.0, 0
	for range 5 {
		l, offsets := p.setUp()
		lessons = append(lessons, l)
		firsts = append(firsts, stat.Mean(offsets[:3], nil))
		for i := 1; i < len(offsets); i++ {
			differing += math.Pow(offsets[i]-offsets[i-1], 2)
			differences++
		}
	}
	k := Learn(lessons, thousandths)
	near(t, "offset", k.Offset, stat.Mean(firsts, nil), 1e-12)
	// Variance of a further value, s²(1+1/5), times that of t with 4 degrees, 2.
	near(t, "sd", k.SD, math.Sqrt(stat.Variance(firsts, nil)*1.2*2), 1e-12)
	near(t, "noise", k.Noise, math.Sqrt(differing/float64(2*differences)), 1e-12)
	if k.SetUps != 5 || k.Differences != 35 || k.Pairs != 0 || k.Drift != 0 {
		t.Errorf("%+v, want 5 set-ups, 35 differences and no drift", k)
	}
	m := Model{Noise: 1, Drift: 2}.With(k)
	if !m.PriorKnown || m.PriorMean != k.Offset || m.Prior != k.SD || m.Noise != k.Noise || m.Drift != 2 {
		t.Errorf("model %+v does not follow %+v", m, k)
	}
}

func TestLearnWantsEnough(t *testing.T) {
	p := press{rnd: rand.New(rand.NewPCG(1, 2)), between: 2, noise: 1, pace: 1, pieces: 7}
	if k := Learn(p.lessons(4), thousandths); k != (Known{}) {
		t.Errorf("four set-ups of seven taught %+v", k)
	}
	for pieces, enough := range map[int]int{1: 15, 2: 8, 3: 5} {
		p.pieces = pieces
		if k := Learn(p.lessons(enough-1), thousandths); k != (Known{}) {
			t.Errorf("%d set-ups of %d pieces taught %+v", enough-1, pieces, k)
		}
		if k := Learn(p.lessons(enough), thousandths); k.SetUps != enough || k.Differences != 0 {
			t.Errorf("%d set-ups of %d pieces taught %+v", enough, pieces, k)
		}
	}
	p.pieces = 100 // one long set-up does not stand for many
	long, _ := p.setUp()
	p.pieces = 1
	if k := Learn(append(p.lessons(4), long), thousandths); k.SetUps != 0 {
		t.Errorf("a long set-up and four of one piece taught %+v", k)
	}
	if got := (Model{Noise: 3}).With(Known{}); got != (Model{Noise: 3}) {
		t.Errorf("nothing learned changes the model to %+v", got)
	}
	// Values all alike are no proof that nothing scatters: the rounding of a count stays.
	p = press{rnd: p.rnd, pace: 1, pieces: 20, mean: 2}
	least := float64(Thousandth) / math.Sqrt(12)
	if k := Learn(p.lessons(6), thousandths); k.SD != least || k.Noise != least || k.Drift != 0 {
		t.Errorf("values all alike taught %+v, want deviations of %g", k, least)
	}
}

// TestLearnLeavesMistakesOut: a setting told wrong in one set-up does not make
// the shop look wild, and does not move what is expected.
func TestLearnLeavesMistakesOut(t *testing.T) {
	p := press{rnd: rand.New(rand.NewPCG(5, 5)), between: 1, noise: 1, mean: 3, pace: 1, pieces: 6}
	lessons := p.lessons(8)
	clean := Learn(lessons, thousandths)
	wrong := lessons[0]
	wrong.First -= 35 * float64(Thousandth)
	with := Learn(append(lessons, wrong), thousandths)
	if with.SetUps != 8 || math.Abs(with.Offset-clean.Offset) > 1e-6 || math.Abs(with.SD-clean.SD) > 1e-6 {
		t.Errorf("with a mistake %+v, without %+v", with, clean)
	}
	p.between, p.noise, p.mean = 0, 0, 0
	five := append(p.lessons(4), wrong)
	if k := Learn(five, thousandths); k.SetUps != 0 {
		t.Errorf("four set-ups and a mistake taught %+v", k)
	}
}

// TestLearnFollowsTheSheet: what was learned is of the press, so it moves when the
// sheet's setting is corrected, and is not heard where a count means another length.
func TestLearnFollowsTheSheet(t *testing.T) {
	p := press{rnd: rand.New(rand.NewPCG(6, 6)), between: 1, noise: 1, mean: 8, pace: 1, pieces: 9}
	lessons := p.lessons(6)
	scale := Scale{Step: Thousandth, Highest: 999}
	before := scale.Line(Spec{Diameter: 1200 * Thousandth, Setting: 120})
	after := scale.Line(Spec{Diameter: 1200 * Thousandth, Setting: 112}) // corrected by the 8 that it was off
	for i := range lessons {
		lessons[i].Line = before
	}
	old, now := Learn(lessons, before), Learn(lessons, after)
	if d := (old.Offset - now.Offset) / float64(Thousandth); math.Abs(d-8) > 1e-9 || math.Abs(old.SD-now.SD) > 1e-6 || old.Noise != now.Noise {
		t.Errorf("%+v becomes %+v, want 8 thousandths less", old, now)
	}
	scale.Smaller = true
	if k := Learn(lessons, scale.Line(Spec{Diameter: 1200 * Thousandth, Setting: 120})); k != (Known{}) {
		t.Errorf("lessons of another scale taught %+v", k)
	}
	// A lesson that is moved on the way is the one that was measured against the new line all along.
	part, whole := Lesson{Line: before}, Lesson{Line: after}
	for i, x := range []float64{1, 5, 2, 8, 3, 9, 4, 7, 6, 3, 2, 2, 5, 6, 1, 4, 3} {
		x *= 1000
		whole.Add(x-8*float64(Thousandth), i)
		if i == 5 {
			part.Move(after)
		}
		if i >= 5 {
			x -= 8 * float64(Thousandth)
		}
		part.Add(x, i)
	}
	near(t, "first", part.First, whole.First, 1e-12)
	near(t, "differing", part.Differing, whole.Differing, 1e-9)
	near(t, "between", part.Between, whole.Between, 1e-9)
	near(t, "within", part.Within, whole.Within, 1e-9)
	near(t, "begun block", part.Blocks[0].Mean, whole.Blocks[0].Mean, 1e-12)
}

// TestLearnFindsTheTruth: on average over many presses the estimates are those
// the presses were made with.
func TestLearnFindsTheTruth(t *testing.T) {
	for _, c := range []press{
		{between: 2, mean: -4, noise: 1, pace: 1, pieces: 16},
		{between: 2, mean: -4, noise: 1, drift: 0.25, pace: 1, pieces: 96},
		{between: 2, mean: -4, noise: 1, drift: 0.25, pace: 2, pieces: 96},
	} {
		c.rnd = rand.New(rand.NewPCG(7, 7))
		const presses = 400
		var noise, drift, offset, spread float64
		for range presses {
			k := Learn(c.lessons(LessonsKept), thousandths)
			noise += k.Noise * k.Noise / presses
			drift += k.Drift * k.Drift / presses
			offset += k.Offset / presses
			spread += k.SD * k.SD / presses
		}
		count := float64(Thousandth)
		check := func(what string, got, want, within float64) {
			if t.Helper(); math.Abs(got-want) > within {
				t.Errorf("%+v: %s %.3f counts, want %.3f ± %.3f", c, what, got, want, within)
			}
		}
		check("noise", math.Sqrt(noise)/count, c.noise, 0.06)
		check("drift", math.Sqrt(drift)/count, c.drift, 0.05)
		check("offset", offset/count, c.mean, 0.15)
		// Of first offsets: the mean of three pieces scatters by noise and drift too.
		m := float64(LessonsKept)
		first := c.between*c.between + c.noise*c.noise/3
		check("prior", math.Sqrt(spread)/count, math.Sqrt(first*(1+1/m)*(m-1)/(m-3)), 0.2)
	}
}

// TestDriftIsNotSeenInNoise: without a drift one is "proved" in fewer than one
// of a hundred presses.
func TestDriftIsNotSeenInNoise(t *testing.T) {
	for _, pieces := range []int{16, 32, 160} {
		p := press{rnd: rand.New(rand.NewPCG(3, 3)), between: 2, noise: 1, pace: 1, pieces: pieces}
		const presses = 2000
		wrong := 0
		for range presses {
			if Learn(p.lessons(LessonsKept), thousandths).Pairs > 0 {
				wrong++
			}
		}
		if wrong > presses/100 {
			t.Errorf("%d pieces a set-up: a drift in %d of %d presses that have none", pieces, wrong, presses)
		}
	}
}

// TestWearIsSeen: a steady wear of a tenth of a count a piece is a drift too.
func TestWearIsSeen(t *testing.T) {
	p := press{rnd: rand.New(rand.NewPCG(4, 4)), noise: 1, slope: 0.1, pace: 1, pieces: 64}
	if k := Learn(p.lessons(LessonsKept), thousandths); k.Pairs == 0 {
		t.Errorf("wear taught %+v", k)
	}
}

// TestSurprise: a first piece far off what earlier set-ups gave is believed.
func TestSurprise(t *testing.T) {
	m := Model{Noise: 1}.With(Known{SetUps: 6, Offset: 2, SD: 0.5})
	e, known := m.Before()
	if !known || e.Offset != 2 || e.Variance != 0.25 || e.N != 0 || !e.Prior {
		t.Fatalf("before: %+v, %v", e, known)
	}
	if e := m.Update(Estimate{}, 4, 1); math.Abs(e.Offset-(2+0.2*2)) > 1e-12 || !e.Prior {
		t.Errorf("4 gives %+v, want the gain 0.2", e)
	}
	far := m.Update(Estimate{}, 35, 1)
	if far.Offset != 35 || far.Variance != 1 || far.Prior {
		t.Errorf("35 gives %+v, want all of it", far)
	}
	if next := m.Update(far, 33, 2); next.Offset != 34 || next.Prior {
		t.Errorf("then 33 gives %+v, want the harmonic mean 34", next)
	}
	m.Learned = false // what the shop configured is believed
	if e := m.Update(Estimate{}, 35, 1); math.Abs(e.Offset-(2+0.2*33)) > 1e-12 {
		t.Errorf("a configured prior gives %+v", e)
	}
}

// TestFunnel: moving by the whole error of each piece doubles the variance, an
// integral gain λ on pure noise gives 2/(2−λ), and the harmonic rule 1+1/n for
// the piece after n (identities: Deming 1986, and setup_adjustment.json).
func TestFunnel(t *testing.T) {
	var file struct {
		Integral struct {
			VarRatio []struct{ Lambda, Value float64 } `json:"var_ratio"`
		} `json:"integral_on_white_noise"`
		Harmonic struct {
			Loss []struct {
				N     int     `json:"after_n"`
				Value float64 `json:"value"`
			} `json:"expected_next_part_loss_over_sigma2"`
		}
	}
	reference(t, "setup_adjustment.json", &file)
	for _, r := range file.Integral.VarRatio {
		near(t, "integral", 2/(2-r.Lambda), r.Value, 1e-9)
		// The steady gain of our filter with a drift is an integral gain: λ from the
		// filter's own steady state, then the variance it gives without a drift.
		q := r.Lambda * r.Lambda / (1 - r.Lambda) // drift² over noise² that makes the gain λ
		if r.Lambda == 1 {
			continue // no drift is large enough
		}
		m := Model{Noise: 1, Drift: math.Sqrt(q)}
		var e Estimate
		for i := range 3000 {
			e = m.Update(e, 0, i)
		}
		before := e.Offset
		e = m.Update(e, before+1, 3000)
		near(t, "steady gain", e.Offset-before, r.Lambda, 1e-6)
	}
	for _, r := range file.Harmonic.Loss {
		var e Estimate
		m := Model{Noise: 1}
		for i := range r.N {
			e = m.Update(e, 0, i)
		}
		near(t, "loss of the next piece", e.Variance+1, r.Value, 1e-12)
		near(t, "spread of the next piece", m.Predict(e), math.Sqrt(r.Value), 1e-12)
	}
}
