package mqtt

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// Tests of one connection, with a broker that does what the test says, mostly
// over a network in memory and in fake time.

// slow are settings with the real waits.
func slow() Settings {
	s := settings("broker.example:1883")
	s.BackoffMin, s.BackoffMax = 0, 0
	return s
}

// history is what OnChange was told.
type history struct {
	mu     sync.Mutex
	states []State
}

func (h *history) note(s State) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.states = append(h.states, s)
}

func (h *history) all() []State {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.states)
}

// reason reports whether the connection was ever away for that reason.
func (h *history) reason(want string) bool {
	return slices.ContainsFunc(h.all(), func(s State) bool { return !s.Connected && s.Reason == want })
}

func TestConnectSaysWhatWasAgreed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{}
		s := slow()
		s.User = "north-bench"
		b := newBox(1)
		b.session = 41
		began := time.Now()
		p := start(t, s, b, f.pipe)
		synctest.Wait()
		c := f.connects[0]
		if c.ProtocolName != "MQTT" || c.ProtocolVersion != 4 || !c.CleanSession || c.Keepalive != 30 ||
			c.ClientIdentifier != "north-bench-7f3a" || c.Username != "north-bench" || c.PasswordFlag {
			t.Errorf("CONNECT %+v", c)
		}
		will := fmt.Sprintf(`{"online":false,"session":42,"time":"%s","expires":"9999-12-31T23:59:59.000000Z","reason":"connection lost"}`,
			began.UTC().Format("2006-01-02T15:04:05.000000Z"))
		if !c.WillFlag || c.WillQos != 1 || !c.WillRetain || c.WillTopic != testBase+"/status" || string(c.WillMessage) != will {
			t.Errorf("will %s on %s at QoS %d, want %s", c.WillMessage, c.WillTopic, c.WillQos, will)
		}
		if got := f.messages(nil); len(got) != 2 || got[0].topic != testBase+"/status" || !got[1].isEvent() {
			t.Errorf("published %+v, want the status and then the event", got)
		}
		p.stop()
		if left, others := f.ended(); left != 1 || len(others) != 0 {
			t.Errorf("%d DISCONNECTs and %v; want one, and no other packets", left, others)
		}
	})
}

func TestHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{}
		p := start(t, slow(), newBox(0), f.pipe)
		time.Sleep(10*time.Minute + time.Second)
		got := f.messages(nil)
		if len(got) != 11 {
			t.Fatalf("%d messages in ten minutes, want 11 status", len(got))
		}
		began := statusOf(t, got[0]).Time
		for i, m := range got {
			s := statusOf(t, m)
			if !s.Online || s.Session != 1 || s.Time.Sub(began) != time.Duration(i)*time.Minute || s.Expires.Sub(s.Time) != 150*time.Second {
				t.Errorf("status %d: %+v", i, s)
			}
		}
		p.stop()
	})
}

func TestRetainedTopicsAreRenewed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{}
		p := start(t, slow(), newBox(0), f.pipe)
		p.Retain(Work, []byte(`{"order":"A-1001"}`))
		time.Sleep(10*time.Minute + time.Second)
		got := f.messages(on(Work.Under(testBase)))
		if len(got) != 3 || got[2].payload != `{"order":"A-1001"}` || !got[2].retained {
			t.Errorf("%+v; want the state at once and after 4 and 9 minutes", got)
		}
		if others := f.messages(on(Cage.Under(testBase))); len(others) > 0 {
			t.Errorf("a topic that was never told is published: %+v", others)
		}
		p.stop()
	})
}

func TestBrokerThatSaysNothing(t *testing.T) {
	const part = "does not answer with MQTT within"
	t.Run("fake time", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			f := &fake{mute: func(int) bool { return true }}
			b := newBox(3)
			p := start(t, slow(), b, f.pipe)
			time.Sleep(10*time.Second + time.Millisecond)
			if s := p.State(); s.Connected || !strings.Contains(s.Reason, part+" 10s") {
				t.Errorf("after 10 s: %+v", s)
			}
			p.stop()
			if b.cursor() != 0 {
				t.Errorf("sent up to %d", b.cursor())
			}
		})
	})
	t.Run("real TCP", func(t *testing.T) {
		f := &fake{mute: func(int) bool { return true }}
		s := settings(f.listen(t))
		s.Timeout = 30 * time.Millisecond
		b := newBox(3)
		p := start(t, s, b, nil)
		until(t, part, func() bool { return strings.Contains(p.State().Reason, part) })
		p.stop()
		if b.cursor() != 0 {
			t.Errorf("sent up to %d", b.cursor())
		}
	})
}

func TestStopWhileTheBrokerSaysNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{mute: func(int) bool { return true }}
		p := start(t, slow(), newBox(0), f.pipe)
		time.Sleep(time.Second)
		began := time.Now()
		p.stop()
		if d := time.Since(began); d > 0 {
			t.Errorf("stopping took %v", d)
		}
	})
}

func TestBrokerThatAcknowledgesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{onPub: func(message) reaction { return ignore }}
		b := newBox(3)
		f.checkSent(t, b)
		p := start(t, slow(), b, f.pipe)
		time.Sleep(31 * time.Second)
		if s := p.State(); s.Connected || !strings.Contains(s.Reason, "acknowledges nothing within 30s") {
			t.Errorf("state %+v", s)
		}
		p.stop()
		if n := len(f.messages(message.isEvent)); b.cursor() != 0 || n != 0 {
			t.Errorf("%d events, sent up to %d; want none", n, b.cursor())
		}
		if left, _ := f.ended(); left != 0 {
			t.Errorf("%d DISCONNECTs: the will would not be published", left)
		}
	})
}

func TestBrokerThatAcknowledgesNoEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{onPub: func(m message) reaction {
			if m.isEvent() {
				return ignore
			}
			return acknowledge
		}}
		b := newBox(3)
		s := slow()
		s.Window = 16
		var told history
		s.OnChange = told.note
		p := start(t, s, b, f.pipe)
		time.Sleep(31 * time.Second)
		if !told.reason("the broker does not acknowledge event 1 within 30s") {
			t.Errorf("told %+v", told.all())
		}
		time.Sleep(5 * time.Minute)
		if st := p.State(); st.Stuck != 1 || !strings.HasPrefix(st.Reason, "the broker acknowledges other messages and never event 1 (") {
			t.Errorf("after five minutes %+v, want the event that is never acknowledged", st)
		}
		p.stop()
		if b.cursor() != 0 {
			t.Errorf("sent up to %d", b.cursor())
		}
	})
}

// A client that reconnects by itself would count the events in flight as
// acknowledged here.
func TestNothingIsSentThatWasNotAcknowledged(t *testing.T) {
	for _, tc := range []struct {
		name   string
		window int
		// take says what the broker does with an event on a connection.
		take func(nth int, seq uint64) reaction
		// sent is the cursor after the first connection.
		sent uint64
	}{
		{"dropped at the first event", 1, func(int, uint64) reaction { return cut }, 0},
		{"dropped in a full window", 4, func(_ int, seq uint64) reaction {
			if seq == 4 {
				return cut
			}
			return ignore
		}, 0},
		{"half of the window acknowledged", 4, func(_ int, seq uint64) reaction {
			switch {
			case seq <= 2:
				return acknowledge
			case seq == 4:
				return cut
			default:
				return ignore
			}
		}, 2},
		{"all but the first acknowledged", 4, func(_ int, seq uint64) reaction {
			switch seq {
			case 1:
				return ignore
			case 4:
				return cut
			default:
				return acknowledge
			}
		}, 0},
		{"every other acknowledged", 4, func(_ int, seq uint64) reaction {
			switch {
			case seq == 4:
				return cut
			case seq%2 == 1:
				return acknowledge
			default:
				return ignore
			}
		}, 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := &fake{}
				f.onPub = func(m message) reaction {
					if m.isEvent() && m.nth == 1 {
						return tc.take(m.nth, m.seq())
					}
					return acknowledge
				}
				b := newBox(20)
				f.checkSent(t, b)
				s := slow()
				s.Window = tc.window
				ended := atomic.Uint64{}
				s.OnChange = func(s State) {
					if !s.Connected && ended.Load() == 0 {
						ended.Store(b.cursor() + 1)
					}
				}
				p := start(t, s, b, f.pipe)
				drain(t, p)
				p.stop()
				if got := ended.Load() - 1; got != tc.sent {
					t.Errorf("sent up to %d when the connection ended, want %d", got, tc.sent)
				}
				checkOrder(t, f.messages(message.isEvent), 20)
				if b.cursor() != 20 {
					t.Errorf("sent up to %d in the end, want 20", b.cursor())
				}
			})
		})
	}
}

func TestBrokerThatDropsAfterEachThird(t *testing.T) {
	for _, window := range []int{1, 16} {
		t.Run(fmt.Sprintf("window %d", window), func(t *testing.T) {
			f := &fake{}
			count := map[int]int{}
			f.onPub = func(m message) reaction { // one connection at a time
				if !m.isEvent() {
					return acknowledge
				}
				if count[m.nth]++; count[m.nth] > 3 {
					return cut
				}
				return acknowledge
			}
			b := newBox(60)
			f.checkSent(t, b)
			s := settings(f.listen(t))
			s.Window = window
			p := start(t, s, b, nil)
			drain(t, p)
			p.stop()
			repeats := checkOrder(t, f.messages(message.isEvent), 60)
			if n := f.connections(); n < 20 || repeats > n*window {
				t.Errorf("%d connections, %d repeats", n, repeats)
			}
		})
	}
}

func TestBrokerThatFallsSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{}
		stall := make(chan struct{})
		f.onPub = func(m message) reaction {
			if m.nth == 1 && m.isEvent() {
				<-stall // takes and says nothing more, not even to a ping
			}
			return acknowledge
		}
		s := slow()
		s.AckTimeout = time.Hour
		b := newBox(1)
		var told history
		s.OnChange = told.note
		p := start(t, s, b, f.pipe)
		time.Sleep(time.Minute)
		if !told.reason("the broker no longer answers: check the network") {
			t.Errorf("told %+v", told.all())
		}
		close(stall)
		drain(t, p)
		p.stop()
	})
}

func TestCodesOfCONNACK(t *testing.T) {
	for code, want := range map[byte]string{
		1: "does not speak MQTT 3.1.1",
		2: "does not take this press's client id",
		3: "not available now",
		4: "does not let this press in",
		5: "does not let this press in",
		6: "unknown code 6",
	} {
		synctest.Test(t, func(t *testing.T) {
			f := &fake{code: func(int) byte { return code }}
			p := start(t, slow(), newBox(1), f.pipe)
			synctest.Wait()
			if s := p.State(); s.Connected || !strings.Contains(s.Reason, want) {
				t.Errorf("code %d: %+v, want %q", code, s, want)
			}
			p.stop()
		})
	}
}

func TestRate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fake{}
		s := slow()
		s.Rate, s.Window = 50, 16
		p := start(t, s, newBox(508), f.pipe)
		began := time.Now()
		drain(t, p)
		if d := time.Since(began); d < 10*time.Second-time.Millisecond || d > 10*time.Second+100*time.Millisecond {
			t.Errorf("508 events at 50 a second took %v, want 10 s", d)
		}
		p.stop()
	})
}

func TestStopWithAnEventInFlight(t *testing.T) {
	for _, tc := range []struct {
		name string
		late time.Duration // of the acknowledgement
		sent uint64
		left int // DISCONNECTs
	}{
		{"acknowledged in time", time.Second, 1, 1},
		{"never acknowledged", time.Hour, 0, 0}, // no DISCONNECT: the will speaks
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := &fake{onPub: func(m message) reaction {
					if m.isEvent() {
						time.Sleep(tc.late)
					}
					return acknowledge
				}}
				b := newBox(1)
				p := start(t, slow(), b, f.pipe)
				time.Sleep(10 * time.Millisecond)
				began := time.Now()
				p.stop()
				if d := time.Since(began); d > 5*time.Second {
					t.Errorf("stopping took %v", d)
				}
				time.Sleep(2 * time.Hour)
				if left, _ := f.ended(); b.cursor() != tc.sent || left != tc.left {
					t.Errorf("sent up to %d, %d DISCONNECTs; want %d and %d", b.cursor(), left, tc.sent, tc.left)
				}
			})
		})
	}
}
