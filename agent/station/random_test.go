package station

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// random drives a bench with n inputs of any kind and calls check now and then.
func random(b *bench, seed uint64, n int, check func()) {
	rnd := rand.New(rand.NewPCG(seed, 1))
	orders := []string{"A-1", "A-2", "A-3"}
	specs := []string{"hs-08", "hs-09", "hs-12", "hs-99", ""}
	for i := range n {
		switch rnd.IntN(16) {
		case 0:
			b.act(Action{Do: DoStart, Order: orders[rnd.IntN(3)], Spec: specs[rnd.IntN(5)], Setting: record.Ptr(100 + rnd.IntN(100))})
		case 1:
			b.act(Action{Do: Dos()[rnd.IntN(len(Dos()))], Cage: fmt.Sprintf("C-%d", 21+9*rnd.IntN(2)), Work: crimp.Works()[rnd.IntN(3)], Setting: record.Ptr(rnd.IntN(1100)), Order: "A-1", Spec: "hs-08", Piece: fmt.Sprintf("A-1/%d", 1+rnd.IntN(20))})
		case 2:
			b.act(Action{Do: DoUndo})
		case 3:
			b.act(Action{Do: DoDry})
		case 4:
			b.act(Action{Do: DoSame})
		case 5:
			b.do(Fault{At: b.now, Source: record.Caliper, On: rnd.IntN(2) == 0, Reason: "away"})
		case 6, 7, 8, 9:
			b.stroke()
		default:
			b.do(Reading{At: b.now, Value: crimp.Length(1190+rnd.IntN(25)) * crimp.Thousandth, Step: 12_700, Raw: "r"})
		}
		if i%37 == 0 {
			check()
		}
	}
	check()
}

func FuzzStation(f *testing.F) {
	f.Add(uint64(1))
	f.Fuzz(func(t *testing.T, seed uint64) {
		b := newBench(t, func(r *Rules) { r.SnapEvery = 11 })
		random(b, seed, 200, func() {
			if o := b.s.state.Order; o != nil {
				for _, p := range o.Pieces {
					if len(p.Shots) == 0 || len(p.shot().Readings) > o.Spec.Places {
						t.Fatalf("piece %+v", p)
					}
				}
			}
		})
	})
}
