package mqtt

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// waits are the pauses after n endings of one class.
func waits(p *Publisher, c class, l *link, n int, now func() time.Time) (all []time.Duration) {
	for range n {
		all = append(all, p.weigh(&ending{class: c}, l, now()))
	}
	return all
}

func testPublisher(t *testing.T, minimum, maximum time.Duration) *Publisher {
	t.Helper()
	s := settings("127.0.0.1:1")
	s.BackoffMin, s.BackoffMax = minimum, maximum
	p, err := New(s, newBox(0))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPausesAreFullJitterUnderABoundThatDoubles(t *testing.T) {
	now := time.Now()
	for _, tc := range []struct {
		name   string
		class  class
		bounds []time.Duration // of the first pauses; the last one stays
	}{
		{"a broker that refuses", refused, []time.Duration{1, 2, 4, 8, 16, 32, 60, 60}},
		{"nobody there", absent, []time.Duration{1, 2, 4, 4, 4, 4, 4, 4}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			longest := make([]time.Duration, len(tc.bounds))
			shortest := make([]time.Duration, len(tc.bounds))
			for range 400 {
				p := testPublisher(t, time.Second, time.Minute)
				for i, d := range waits(p, tc.class, nil, len(tc.bounds), func() time.Time { return now }) {
					longest[i] = max(longest[i], d)
					if shortest[i] == 0 || d < shortest[i] {
						shortest[i] = d
					}
				}
			}
			for i, b := range tc.bounds {
				b *= time.Second
				if longest[i] > b || longest[i] < b*9/10 || shortest[i] > b/10 {
					t.Errorf("pause %d of 400 runs: %v to %v, want from nearly nothing to nearly %v", i, shortest[i], longest[i], b)
				}
			}
		})
	}
}

func TestPausesBeginAnewWithAnotherCause(t *testing.T) {
	p := testPublisher(t, time.Second, time.Minute)
	now := time.Now()
	waits(p, absent, nil, 1000, func() time.Time { return now })
	if d := waits(p, refused, nil, 1, func() time.Time { return now })[0]; d > time.Second {
		t.Errorf("the first refusal after a month of silence waits %v, want at most 1s", d)
	}
}

func TestLongBackoffMinIsKept(t *testing.T) {
	p := testPublisher(t, 10*time.Second, time.Minute)
	now := time.Now()
	var longest time.Duration
	for _, d := range waits(p, absent, nil, 400, func() time.Time { return now }) {
		longest = max(longest, d)
	}
	if longest > 10*time.Second || longest < 9*time.Second {
		t.Errorf("the longest pause is %v, want nearly 10s", longest)
	}
}

func TestRival(t *testing.T) {
	p := testPublisher(t, time.Second, time.Minute)
	now := time.Now()
	lose := func(lived time.Duration) time.Duration {
		now = now.Add(lived + time.Second)
		return p.weigh(&ending{class: lost}, &link{begun: now.Add(-lived)}, now)
	}
	for i := range 5 {
		if d := lose(2 * time.Second); p.trouble.rival != "" || d > 4*time.Second {
			t.Fatalf("loss %d within a minute: rival %q, pause %v", i+1, p.trouble.rival, d)
		}
	}
	if d := lose(2 * time.Second); !strings.Contains(p.trouble.rival, "another client") || d < 30*time.Second || d > time.Minute {
		t.Errorf("sixth loss within a minute: rival %q, pause %v; want a pause of 30s to 1m", p.trouble.rival, d)
	}
	if d := lose(30 * time.Second); p.trouble.rival == "" || d < 30*time.Second {
		t.Errorf("after half a minute of peace: rival %q, pause %v; it should still be there", p.trouble.rival, d)
	}
	if d := lose(time.Minute); p.trouble.rival != "" || d > time.Second {
		t.Errorf("after a minute of peace: rival %q, pause %v; want none and at most 1s", p.trouble.rival, d)
	}
}

func TestSlowLossesAreNoRival(t *testing.T) {
	p := testPublisher(t, time.Second, time.Minute)
	now := time.Now()
	for range 50 { // five in any minute
		now = now.Add(12 * time.Second)
		p.weigh(&ending{class: lost}, &link{begun: now.Add(-time.Second)}, now)
	}
	if p.trouble.rival != "" || len(p.retry.soon) > maxSoon+1 {
		t.Errorf("rival %q, %d losses remembered", p.trouble.rival, len(p.retry.soon))
	}
}

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
