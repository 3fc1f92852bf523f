package sensors

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A wall of lines has levels that change at given times: "17+" goes high, "17-" low.
type wall struct {
	names   []string
	start   time.Time
	high    string // names that are high at first
	changes []wallChange
	err     error
}

type wallChange struct {
	at   time.Duration
	what string // several parted by blanks
}

func (w *wall) Names() []string { return w.names }
func (w *wall) Close() error    { return nil }

func (w *wall) Levels() (uint64, error) {
	levels := map[string]bool{}
	for _, n := range strings.Fields(w.high) {
		levels[n] = true
	}
	for _, c := range w.changes {
		if c.at > time.Since(w.start) {
			break
		}
		for _, f := range strings.Fields(c.what) {
			levels[f[:len(f)-1]] = strings.HasSuffix(f, "+")
		}
	}
	var bits uint64
	for i, n := range w.names {
		if levels[n] {
			bits |= 1 << i
		}
	}
	return bits, w.err
}

func (w *wall) Wait(ctx context.Context, d time.Duration) error {
	wait := d
	for _, c := range w.changes {
		if left := c.at - time.Since(w.start); left > 0 {
			wait = min(wait, left)
			break
		}
	}
	pause(ctx, wait)
	return nil
}

func TestSearch(t *testing.T) {
	const s = time.Second
	for _, tc := range []struct {
		name     string
		high     string
		changes  []wallChange
		biasDown bool
		want     string // the moved, the restless, and the lines of a switch
	}{
		{"a contact that pulls low", "5 17 27", []wallChange{{s, "17-"}, {2 * s, "17+"}}, false, "[17 low] [] up 17 low"},
		{"a contact that pulls high", "5", []wallChange{{s, "17+"}, {2 * s, "17-"}}, true, "[17 high] [] up 17 high"},
		{"bounce is none of its changes", "17", []wallChange{{s, "17-"}, {s + ms, "17+"}, {s + 2*ms, "17-"}, {s + 400*ms, "17+"}}, false, "[17 low] [] up 17 low"},
		{"spikes are none", "5 17", []wallChange{{s, "5-"}, {s + 5*ms, "5+"}, {2 * s, "17-"}, {3 * s, "17+"}}, false, "[17 low] [] up 17 low"},
		{"a line that moves by itself", "17", []wallChange{{50 * ms, "5+"}, {100 * ms, "5-"}, {s, "17-"}, {1500 * ms, "5+"}, {2 * s, "17+"}}, false, "[17 low] [5] up 17 low"},
		{"changeover, pulling low, in flight both open", "17",
			[]wallChange{{s, "27+"}, {s + 3*ms, "17-"}, {2 * s, "17+"}, {2*s + 3*ms, "27-"}}, false, "[27 high 17 low] [] up 17 rest 27 low"},
		{"changeover, pulling high, in flight both open", "27",
			[]wallChange{{s, "27-"}, {s + 3*ms, "17+"}, {2 * s, "17-"}, {2*s + 3*ms, "27+"}}, true, "[27 low 17 high] [] up 17 rest 27 high"},
		{"changeover with resistors of its own, biased the other way", "27",
			[]wallChange{{s, "27-"}, {s + 3*ms, "17+"}, {2 * s, "17-"}, {2*s + 3*ms, "27+"}}, false, "[27 low 17 high] [] up 17 rest 27 high"},
		{"changeover, the flight not seen", "17", []wallChange{{s, "17- 27+"}, {2 * s, "17+ 27-"}}, false, "[17 low 27 high] [] up 17 rest 27 low"},
		{"two that move alike", "17 27", []wallChange{{s, "17- 27-"}, {2 * s, "17+ 27+"}}, false, "[17 low 27 low] [] none"},
		{"two that move seconds apart", "17", []wallChange{{s, "17-"}, {2500 * ms, "27+"}, {3 * s, "17+ 27-"}}, false, "[17 low 27 high] [] none"},
		{"three", "17 5", []wallChange{{s, "17- 27+ 5-"}, {2 * s, "17+ 27- 5+"}}, false, "[5 low 17 low 27 high] [] none"},
		{"held closed", "17", []wallChange{{s, "17-"}}, false, "[17 low] [] up 17 low"},
		{"nothing", "17", nil, false, "[] [] none"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := &wall{names: []string{"5", "17", "27"}, start: time.Now(), high: tc.high, changes: tc.changes}
				f, err := Search(t.Context(), w, 20*s, time.Now)
				if err != nil {
					t.Fatal(err)
				}
				var moved []string
				for _, m := range f.Moved {
					moved = append(moved, m.Name+" "+side(m.Low))
				}
				got := fmt.Sprintf("%v %v none", moved, f.Restless)
				if l, ok := f.Lines(!tc.biasDown); ok {
					got = fmt.Sprintf("%v %v up %s", moved, f.Restless, l.Up)
					if l.Rest != "" {
						got += " rest " + l.Rest
					}
					got += " " + side(l.ActiveLow)
				}
				if got != tc.want {
					t.Errorf("got  %s\nwant %s", got, tc.want)
				}
				if d := time.Since(w.start); d > 21*s {
					t.Errorf("took %v", d)
				}
			})
		})
	}
}

func side(low bool) string {
	if low {
		return "low"
	}
	return "high"
}

func TestSearchEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		gone := errors.New("gone")
		w := &wall{names: []string{"17"}, start: time.Now(), err: gone}
		if _, err := Search(t.Context(), w, time.Minute, time.Now); !errors.Is(err, gone) {
			t.Errorf("%v", err)
		}
		w.err = nil
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := Search(ctx, w, time.Minute, time.Now); !errors.Is(err, context.DeadlineExceeded) || time.Since(w.start) > 2*time.Second {
			t.Errorf("%v", err)
		}
	})
}

// What else hangs at the board's lines is left alone.
func TestCandidates(t *testing.T) {
	c := header()
	c.lines = append(c.lines, Line{Number: 48, Name: "SD_CLK_R"}, Line{Number: 50})
	c.lines[22].User = "display@412"
	free, held := c.candidates(nil)
	want := "GPIO4 GPIO5 GPIO6 GPIO7 GPIO8 GPIO9 GPIO10 GPIO11 GPIO12 GPIO13 GPIO16 GPIO17 GPIO18 GPIO19 GPIO20 GPIO21 GPIO23 GPIO24 GPIO25 GPIO26 GPIO27"
	if d := cmp.Diff(want, strings.Join(names(free), " ")); d != "" {
		t.Error(d)
	}
	if !slices.Equal(names(held), []string{"GPIO22"}) {
		t.Errorf("held %v", held)
	}
	c.lines[8].User = "spi0 CS0"
	if free, _ = c.candidates(nil); slices.ContainsFunc(free, func(l Line) bool { return l.Name == "GPIO10" }) {
		t.Error("a line of a bus in use is looked at")
	}
	free, held = c.candidates([]string{"GPIO2", "GPIO22", "GPIO99"})
	if !slices.Equal(names(free), []string{"GPIO2"}) || !slices.Equal(names(held), []string{"GPIO22"}) {
		t.Errorf("named ones: %v, %v", free, held)
	}
}
