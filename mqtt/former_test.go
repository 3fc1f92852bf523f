package mqtt

import (
	"context"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

const oldBase = "riverside/old-hall/north-bench"

// standing are the retained messages that a broker has below a filter.
func standing(t testing.TB, addr, filter string) (topics []string) {
	t.Helper()
	s := subscribe(t, addr, "", "", filter)
	time.Sleep(100 * time.Millisecond) // what is retained comes right after the subscription
	for _, m := range s.messages(func(m message) bool { return m.retained && m.payload != "" }) {
		topics = append(topics, m.topic)
	}
	slices.Sort(topics)
	return slices.Compact(topics)
}

func publishAt(t *testing.T, s Settings, base string) {
	t.Helper()
	s.Base = base
	b := newBox(2)
	p := start(t, s, b, nil)
	for _, topic := range retained {
		p.Retain(topic, []byte(`{"base":"`+base+`"}`))
	}
	drain(t, p)
	p.stop()
}

func TestFormerBaseIsCleared(t *testing.T) {
	addr := newMosquitto(t, "allow_anonymous true\n").addr
	s := settings(addr)
	publishAt(t, s, oldBase)
	if got, want := len(standing(t, addr, "riverside/old-hall/#")), 1+len(retained); got != want {
		t.Fatalf("%d retained topics before, want %d", got, want)
	}

	var told atomic.Int32
	s.Former, s.OnCleared = []string{oldBase}, func() { told.Add(1) }
	p := start(t, s, newBox(2), nil)
	drain(t, p)
	until(t, "cleared", func() bool { return told.Load() == 1 })
	if got := standing(t, addr, "riverside/old-hall/#"); len(got) > 0 {
		t.Errorf("still there: %v", got)
	}
	if got := standing(t, addr, testBase+"/#"); !slices.Contains(got, testBase+"/status") {
		t.Errorf("the new base has %v, want its status", got)
	}
}

func TestFormerBaseThatTheBrokerGuards(t *testing.T) {
	f := &fake{onPub: func(m message) reaction {
		if strings.HasPrefix(m.topic, oldBase) {
			return cut
		}
		return acknowledge
	}}
	s := settings(f.listen(t))
	s.Former = []string{oldBase}
	s.OnCleared = func() { t.Error("told that all is cleared") }
	b := newBox(5)
	p := start(t, s, b, nil)
	drain(t, p)
	until(t, "a connection that stands", func() bool { return p.State().Connected && f.connections() == maxClearing+1 })
	b.add(3)
	p.Wake()
	drain(t, p)
	if n := f.connections(); n != maxClearing+1 {
		t.Errorf("%d connections, want %d that were cut and one that stands", n, maxClearing)
	}
	f.checkSent(t, b)
}

func TestForget(t *testing.T) {
	addr := newMosquitto(t, "allow_anonymous true\n").addr
	s := settings(addr)
	publishAt(t, s, testBase)
	publishAt(t, s, oldBase)
	other := "riverside/hose-shop/south-bench"
	publishAt(t, s, other)

	s.Address = "tcp://127.0.0.1:1 " + s.Address // the first does not answer
	topics, err := Forget(t.Context(), s, testBase, oldBase)
	if err != nil {
		t.Fatal(err)
	}
	if len(topics) != 2*(1+len(retained)) || topics[0] != testBase+"/status" {
		t.Errorf("forgot %v", topics)
	}
	left := standing(t, addr, "riverside/#")
	if len(left) != 1+len(retained) || !strings.HasPrefix(left[0], other) {
		t.Errorf("left at the broker: %v, want those of %s alone", left, other)
	}
}

func TestForgetFaults(t *testing.T) {
	for _, tc := range []struct {
		name, want string
		f          *fake
		base       string
	}{
		{"nobody there", "nothing listens at", nil, testBase},
		{"refused", "does not let this press in", &fake{code: func(int) byte { return 5 }}, testBase},
		{"no acknowledgement", "does not acknowledge " + testBase + "/status", &fake{onPub: func(message) reaction { return ignore }}, testBase},
		{"cut", testBase + "/status: the broker has ended the connection", &fake{onPub: func(message) reaction { return cut }}, testBase},
		{"a base that is none", "level 2 is empty", &fake{}, "a//b"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := settings("127.0.0.1:1")
			if tc.f != nil {
				s = settings(tc.f.listen(t))
			}
			ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
			defer cancel()
			if _, err := Forget(ctx, s, tc.base); err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want %q", err, tc.want)
			}
		})
	}
}
