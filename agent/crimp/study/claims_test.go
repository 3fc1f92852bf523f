package study

import "testing"

// beyond is how many standard errors of the paired difference a claim may miss
// by: there are thousands of comparisons, and 1 in 30,000 goes beyond by chance.
const beyond = 4

// claim holds what the report says of a cell against its shops.
func claim(t *testing.T, c Cell, shops Results) {
	t.Helper()
	// ties: a costs no more than b.
	ties := func(a, b string, r Ratio) {
		t.Helper()
		if m := r.More(shops[a], shops[b]); m.Value > 0 && r.seen(m, beyond) {
			t.Errorf("%s, %g:1: %s costs %s, %s costs %s, more by %s", c.key(), float64(r), words[a], r.Cost(shops[a]), words[b], r.Cost(shops[b]), m)
		}
	}
	if c.Case != grid {
		return
	}
	for _, r := range Ratios {
		// Told its figures, ours at the target ties with or beats whatever does not
		// aim, also under a wear that it is not told.
		for _, other := range []string{Leave, Whole, Harmonic, Hold} {
			ties(Told, other, r)
		}
		if c.Wear == 0 {
			ties(Told, New, r)
		}
		// Where the noise is small beside the limits, aiming by the cost costs no
		// more than the target, and what learned ties with or beats the rules.
		if c.Noise <= 1 {
			ties(r.Aimed(Told), Told, r)
			ties(r.Aimed(Learned), Whole, r)
			ties(r.Aimed(Learned), Harmonic, r)
			if c.Between > 0 {
				ties(r.Aimed(Learned), Leave, r)
			}
		}
	}
}

// TestClaims holds what the report says against the whole table.
func TestClaims(t *testing.T) {
	table := parsed(t)
	// beats: ours, learned and aiming by the cost, is clearly cheaper.
	beats := func(c Cell, other string, r Ratio) {
		t.Helper()
		if m := table.find(c, other).more(r); m.Value < 0 || !r.seen(m, beyond) {
			t.Errorf("%s, %g:1: %s costs more by %s only", c.key(), float64(r), words[other], m)
		}
	}
	for _, c := range Grid() {
		for _, r := range Ratios {
			if c.Between >= 3 {
				beats(c, Leave, r)
			}
			if c.Noise == 2 {
				// Chasing noise costs more than twice as much as ours at the target.
				whole, told := table.find(c, Whole).cost(r), table.find(c, Told).cost(r)
				if c.Between <= 1 && !(whole.Value > 2*told.Value) {
					t.Errorf("%s, %g:1: the whole error costs %s, ours %s", c.key(), float64(r), whole, told)
				}
			}
			if c.Between == 3 && c.Noise == 1 {
				if r == 20 && c.Pieces <= 20 {
					beats(c, Whole, r)
					beats(c, Harmonic, r)
					beats(c, New, r)
				}
				if c.Drift == 0.3 && c.Pieces == 50 {
					beats(c, Harmonic, r)
				}
			}
		}
	}
	// A cage that is off by as much each time is learned.
	for _, c := range Others() {
		if c.Case != firstFew || c.Before == 0 {
			continue
		}
		for _, other := range []string{Leave, Whole, Harmonic, New} {
			beats(c, other, 3)
		}
	}
}

// TestHalfwayNeverCostsMore: closing by the mean of the piece's own deviation
// and of what the set-up expects costs no more than by the piece's own, however
// much of the noise is the piece's own, and less where little of it is.
func TestHalfwayNeverCostsMore(t *testing.T) {
	table := parsed(t)
	for _, c := range Others() {
		if c.Case != second {
			continue
		}
		for _, r := range Ratios {
			m := table.find(c, r.Aimed(Halfway)).more(r)
			if clearly := r.seen(m, beyond); m.Value > 0 && clearly || c.Own < 1 && !clearly {
				t.Errorf("%s, %g:1: halfway costs more by %s", c.key(), float64(r), m)
			}
		}
	}
}
