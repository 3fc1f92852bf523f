package rehearsal

import (
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// every is true each nth time.
func every(n int) func() bool {
	i := 0
	return func() bool { i++; return i%n == 0 }
}

// told is how often something was said.
func (d *desk) told(s string) (n int) {
	for _, said := range d.said {
		if strings.Contains(said, s) {
			n++
		}
	}
	return n
}

func TestWhatDoesNotShowIsDoneAgain(t *testing.T) {
	k, err := shift(t, 60, time.Hour, func(k *desk) { k.deaf, k.blind = every(6), every(9) })
	if err != nil {
		t.Fatal(err)
	}
	if n := k.told("measures once more"); n < 10 {
		t.Errorf("measured once more %d times, want 10", n)
	}
	if n := k.told("closes the ring once more"); n < 5 {
		t.Errorf("closed the ring once more %d times, want 5", n)
	}
	judged := map[string]crimp.Outcome{}
	for _, r := range k.kept {
		if r.Kind == record.Verdict {
			judged[r.Piece] = r.Outcome
		}
	}
	for piece, outcome := range judged {
		if outcome == crimp.Unsure {
			t.Errorf("piece %s was not measured", piece)
		}
	}
	if _, ok := happened(k.kept)["refused action"]; ok {
		t.Error("an action was refused")
	}
}

func TestStrokesThatWereNoneAreTakenOff(t *testing.T) {
	var ghosts atomic.Int64 // timers do not wait for each other
	k, err := shift(t, 60, 10*time.Minute, func(k *desk) {
		for at := 45 * time.Second; at < 5*time.Minute; at += 45 * time.Second {
			time.AfterFunc(k.clock.real(at), func() {
				ghosts.Add(1)
				k.do(station.Stroke{At: k.clock.Now(), Held: time.Second})
			})
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if n, all := k.told("a stroke that was none"), int(ghosts.Load()); n < all-1 || all != 6 {
		t.Errorf("%d of %d strokes were taken off", n, all)
	}
}

// Who tries the demonstration pushes the buttons too.
func TestSomebodyElsePushesButtons(t *testing.T) {
	for seed := range uint64(4) {
		k, err := shift(t, 60, 3*time.Hour, func(k *desk) {
			rnd := rand.New(rand.NewPCG(seed, 9))
			var meddle func()
			meddle = func() {
				if k.clock.Now().Sub(morning) > 3*time.Hour {
					return
				}
				cages, specs := []string{"C-21", "C-16", "C-30", "C-99"}, Specs()
				a := station.Action{
					At: k.clock.Now(), Do: station.Dos()[rnd.IntN(len(station.Dos()))], Cage: cages[rnd.IntN(4)],
					Spec: specs[rnd.IntN(5)].ID, Order: "B-1", Setting: record.Ptr(rnd.IntN(999)),
					Work: crimp.Works()[rnd.IntN(3)], Piece: "A-1004/2",
				}
				k.do(a)
				time.AfterFunc(k.clock.real(time.Duration(20+rnd.IntN(60))*time.Second), meddle)
			}
			time.AfterFunc(time.Second, meddle)
		})
		if err != nil {
			t.Fatal(err)
		}
		strokes := 0
		for _, r := range k.kept {
			if r.Kind == record.Stroke && r.At.Sub(morning) > 2*time.Hour {
				strokes++
			}
		}
		if strokes < 15 {
			t.Errorf("seed %d: %d strokes in the last hour: the work has stopped", seed, strokes)
		}
	}
}
