package sensors

import (
	"encoding/binary"
	"errors"
	"testing"
	"time"
)

// fuzzRows makes calls of bytes: a byte of what, two of how long after the last.
func fuzzRows(b []byte) (s Settings, atRest bool, rows []row) {
	if len(b) == 0 {
		return usual, false, nil
	}
	s = usual
	s.Changeover = b[0]&1 != 0
	s.Settle = []time.Duration{20 * ms, 5 * ms, 0, 200 * ms}[b[0]>>1&3]
	s.Stuck = []time.Duration{0, 5 * time.Second}[b[0]>>3&1]
	atRest = b[0]&16 != 0
	if b[0]&32 != 0 {
		s.Cycle = 0
	}
	at := day
	for b = b[1:]; len(b) >= 3 && len(rows) < 300; b = b[3:] {
		d := time.Duration(binary.LittleEndian.Uint16(b[1:]))
		switch b[0] >> 6 {
		case 0:
			d *= time.Microsecond
		case 1:
			d *= 50 * time.Microsecond
		case 2:
			d *= ms
		case 3:
			d *= -ms / 8 // the clock is set back
		}
		at = at.Add(d)
		r := row{at: at, levels: Levels{Up: b[0]&1 != 0, Rest: b[0]&2 != 0, Retracted: b[0]&4 != 0}}
		switch b[0] >> 3 & 7 {
		case 1:
			r.do = "claim"
		case 2:
			r.do = "fail"
		}
		rows = append(rows, r)
	}
	return s, atRest, rows
}

// FuzzFilter holds a filter to what must be so, whatever the switch does.
func FuzzFilter(f *testing.F) {
	f.Add([]byte{0, 64, 232, 3, 65, 232, 3, 64, 232, 3, 65, 100, 0, 64, 255, 255})
	f.Add([]byte{1, 66, 232, 3, 64, 100, 0, 65, 232, 3, 67, 255, 0, 66, 255, 255})
	f.Add([]byte{16, 129, 255, 0, 137, 9, 0, 128, 255, 255, 208, 1, 1, 129, 255, 255, 132, 255, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		s, atRest, rows := fuzzRows(b)
		filter := func() *Filter {
			if atRest {
				return NewFilterAtRest(s, day)
			}
			return NewFilter(s)
		}
		var want []Event
		p, one := filter(), inspector{t: t, s: s}
		for _, r := range rows {
			es := r.apply(p)
			want = append(want, es...)
			one.inspect(r, es)
			if d := p.Wait(r.at); d <= 0 || d > 250*ms {
				t.Fatalf("wait %v", d)
			}
		}

		// Kept and read back at every call, and read twice at every time.
		k, twice := filter(), filter()
		var got, gotTwice []Event
		for _, r := range rows {
			k = kept(t, k)
			got = append(got, r.apply(k)...)
			gotTwice = append(gotTwice, r.apply(twice)...)
			if r.do == "" {
				gotTwice = append(gotTwice, twice.Step(r.levels, r.at)...)
			}
		}
		if text(got) != text(want) {
			t.Errorf("kept and read back:\n%s\nat once:\n%s", text(got), text(want))
		}
		if text(gotTwice) != text(want) {
			t.Errorf("read twice:\n%s\nonce:\n%s", text(gotTwice), text(want))
		}
	})
}

// An inspector watches the events of one filter.
type inspector struct {
	t       *testing.T
	s       Settings
	last    time.Time // of the last call
	back    bool      // the clock was set back at some time
	stroke  time.Time
	other   time.Time // of the last fault or clear
	faulty  bool
	closed  int // closures that could have been seen
	strokes int
	up      bool
}

func (i *inspector) inspect(r row, es []Event) {
	if r.at.Before(i.last) {
		i.back = true
	}
	i.last = r.at
	// Strokes are no more than closures that could be seen: levels that went up.
	if up := r.levels.Up && (!i.s.Changeover || !r.levels.Rest); r.do == "" {
		if up && !i.up {
			i.closed++
		}
		i.up = up
	}
	for _, e := range es {
		if e.At.After(r.at) {
			i.t.Fatalf("%+v after the call at %v", e, r.at)
		}
		switch e.Kind {
		case Stroke:
			i.strokes++
			if e.Held < 0 || e.Held > 0 && e.Held < i.s.Shortest {
				i.t.Fatalf("stroke held %v, shortest %v", e.Held, i.s.Shortest)
			}
			if !i.back && !i.stroke.IsZero() && e.At.Sub(i.stroke) < i.s.Cycle {
				i.t.Fatalf("strokes at %v and %v, cycle %v", i.stroke, e.At, i.s.Cycle)
			}
			i.stroke = e.At
		case Fault, Clear:
			if i.faulty == (e.Kind == Fault) {
				i.t.Fatalf("two of %s", e.Kind)
			}
			i.faulty = e.Kind == Fault
			if !i.back && e.At.Before(i.other) {
				i.t.Fatalf("%+v before %v", e, i.other)
			}
			i.other = e.At
			if e.Reason == "" {
				i.t.Fatalf("%s without a reason", e.Kind)
			}
		case Retract:
		default:
			i.t.Fatalf("unknown kind %q", e.Kind)
		}
	}
	if i.strokes > i.closed {
		i.t.Fatalf("%d strokes of %d closures", i.strokes, i.closed)
	}
}

// FuzzState reads any state and goes on with it: no panic, and what it writes
// of itself can be read.
func FuzzState(f *testing.F) {
	p := NewFilterAtRest(usual, day)
	for _, r := range []row{{at: day, levels: Levels{Up: true}}, {at: day.Add(time.Second)}} {
		r.apply(p)
		b, err := p.MarshalJSON()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, true)
	}
	f.Fuzz(func(t *testing.T, b []byte, up bool) {
		p := NewFilter(Settings{Settle: 5 * ms, Shortest: 50 * ms, Changeover: true})
		if p.UnmarshalJSON(b) != nil {
			return
		}
		p.Step(Levels{Up: up}, day)
		p.Claim(day.Add(time.Second))
		p.Step(Levels{Up: !up, Rest: up}, day.Add(300*time.Second))
		p.Fail(errors.New("gone"), day.Add(301*time.Second))
		p.Step(Levels{Rest: true}, day.Add(302*time.Second))
		kept(t, p)
	})
}
