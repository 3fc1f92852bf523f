package broker

import (
	"testing"
	"time"
)

// waits are the pauses after n endings of one class.
func waits(r *Retry, c Class, n int) (all []time.Duration) {
	for range n {
		all = append(all, r.Pause(c, true, false))
	}
	return all
}

func TestPausesAreFullJitterUnderABoundThatDoubles(t *testing.T) {
	for _, tc := range []struct {
		name   string
		class  Class
		bounds []time.Duration // of the first pauses; the last one stays
	}{
		{"a broker that refuses", Refused, []time.Duration{1, 2, 4, 8, 16, 32, 60, 60}},
		{"nobody there", Absent, []time.Duration{1, 2, 4, 4, 4, 4, 4, 4}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			longest := make([]time.Duration, len(tc.bounds))
			shortest := make([]time.Duration, len(tc.bounds))
			for range 400 {
				r := &Retry{Min: time.Second, Max: time.Minute}
				for i, d := range waits(r, tc.class, len(tc.bounds)) {
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
	r := &Retry{Min: time.Second, Max: time.Minute}
	waits(r, Absent, 1000)
	if d := waits(r, Refused, 1)[0]; d > time.Second {
		t.Errorf("the first refusal after a month of silence waits %v, want at most 1s", d)
	}
}

func TestLongBackoffMinIsKept(t *testing.T) {
	r := &Retry{Min: 10 * time.Second, Max: time.Minute}
	var longest time.Duration
	for _, d := range waits(r, Absent, 400) {
		longest = max(longest, d)
	}
	if longest > 10*time.Second || longest < 9*time.Second {
		t.Errorf("the longest pause is %v, want nearly 10s", longest)
	}
}

func TestRival(t *testing.T) {
	r := &Retry{Min: time.Second, Max: time.Minute}
	now := time.Now()
	lose := func(lived time.Duration) time.Duration {
		now = now.Add(lived + time.Second)
		r.Lived(lived, now)
		return r.Pause(Lost, true, false)
	}
	for i := range 5 {
		if d := lose(2 * time.Second); r.rival || d > 4*time.Second {
			t.Fatalf("loss %d within a minute: rival %t, pause %v", i+1, r.rival, d)
		}
	}
	if d := lose(2 * time.Second); !r.rival || d < 30*time.Second || d > time.Minute {
		t.Errorf("sixth loss within a minute: rival %t, pause %v; want a pause of 30s to 1m", r.rival, d)
	}
	if d := lose(30 * time.Second); !r.rival || d < 30*time.Second {
		t.Errorf("after half a minute of peace: rival %t, pause %v; it should still be there", r.rival, d)
	}
	if d := lose(time.Minute); r.rival || d > time.Second {
		t.Errorf("after a minute of peace: rival %t, pause %v; want none and at most 1s", r.rival, d)
	}
}

func TestSlowLossesAreNoRival(t *testing.T) {
	r := &Retry{Min: time.Second, Max: time.Minute}
	now := time.Now()
	for range 50 { // five in any minute
		now = now.Add(12 * time.Second)
		r.Lived(time.Second, now)
		r.Pause(Lost, true, false)
	}
	if r.rival || len(r.soon) > maxSoon+1 {
		t.Errorf("rival %t, %d losses remembered", r.rival, len(r.soon))
	}
}

func TestSeveralBrokersHaveTheirTurn(t *testing.T) {
	var longest, hops time.Duration
	for range 400 {
		r := &Retry{Min: time.Second, Max: time.Minute}
		for range 8 { // one refuses, the other is not there
			hops = max(hops, r.Pause(Refused, false, false))
			longest = max(longest, r.Pause(Absent, true, false))
		}
	}
	if hops > hop || hops < hop*9/10 {
		t.Errorf("the longest wait for another broker is %v, want nearly %v", hops, hop)
	}
	if longest > time.Minute || longest < 54*time.Second {
		t.Errorf("the longest wait after the eighth round is %v, want nearly 1m, as after a broker that refuses", longest)
	}
	r := &Retry{Min: time.Second, Max: time.Minute}
	longest = 0
	for range 400 {
		longest = max(longest, r.Pause(Lost, false, false))
	}
	if longest < 900*time.Millisecond {
		t.Errorf("all presses of a broker that dies come to the next one within %v, want them spread over 1s", longest)
	}
}

// One broker refuses and another takes the press in: each loss of a connection that
// worked begins anew, however many there were.
func TestRefusalBeforeAConnectionThatWorkedIsForgotten(t *testing.T) {
	r := &Retry{Min: time.Second, Max: time.Minute}
	now := time.Now()
	var longest time.Duration
	for range 400 {
		r.Pause(Refused, false, false)
		now = now.Add(24 * time.Hour)
		r.Lived(24*time.Hour, now)
		longest = max(longest, r.Pause(Lost, true, false))
	}
	if longest > time.Second || longest < 900*time.Millisecond {
		t.Errorf("the longest wait after a connection that worked is %v, want nearly 1s", longest)
	}
}
