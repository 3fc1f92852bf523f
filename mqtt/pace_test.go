package mqtt

import (
	"math/rand/v2"
	"testing"
	"time"
)

func TestPace(t *testing.T) {
	begin := time.Now()
	for _, rate := range []float64{1, 50, 1000} {
		p, now, sent := newPace(rate), begin, 0
		random := rand.New(rand.NewPCG(1, 2))
		for now.Sub(begin) < 10*time.Second {
			if w := p.wait(now); w > 0 {
				now = now.Add(w)
				continue
			}
			p.take(now)
			sent++
			now = now.Add(time.Duration(random.IntN(100)) * time.Microsecond)
		}
		if most := int(10*rate) + burst; sent > most || sent < most-2 {
			t.Errorf("%d events in 10 s at %v a second, want nearly %d", sent, rate, most)
		}
	}
	free := newPace(0)
	free.take(begin)
	if w := free.wait(begin); w != 0 {
		t.Errorf("no limit, but a wait of %v", w)
	}
}
