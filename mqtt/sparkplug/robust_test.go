package sparkplug

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"benchtally/mqtt/broker"
)

// playing runs a test with a node, its broker and its records.
func playing(t *testing.T, prep func(*stub, *logbook, *Settings), test func(*play)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		s, log, set := &stub{}, newLogbook(), settings()
		if prep != nil {
			prep(s, log, &set)
		}
		s.host = set.Host
		p := &play{start(t, set, log, s.network), t, s, log}
		synctest.Wait()
		test(p)
		p.stop()
	})
}

// lives fails the test unless what is recorded now is told.
func (p *play) lives() {
	p.t.Helper()
	before := len(p.s.messages(DDATA))
	p.say(stroke("A-9/9"))
	p.wait(time.Second)
	if got := p.s.messages(DDATA); len(got) <= before || !p.State().Connected {
		p.t.Errorf("data does not go on: %d messages, then %d, state %+v", before, len(got), p.State())
	}
}

func TestStrangeCommands(t *testing.T) {
	rnd := rand.NewChaCha8([32]byte{1})
	noise := func(n int) []byte {
		b := make([]byte, n)
		_, _ = rnd.Read(b)
		return b
	}
	many := Payload{At: noon}
	for i := range 900 {
		many.Metrics = append(many.Metrics, Metric{Name: fmt.Sprint(i), Value: Boolean(true)})
	}
	whole := rebirthCommand()
	for _, tc := range []struct {
		name     string
		topic    string
		payload  []byte
		retained bool
	}{
		{"nothing", commands, nil, false},
		{"noise", commands, noise(300), false},
		{"a megabyte", commands, noise(1 << 20), false},
		{"cut off", commands, whole[:len(whole)-3], false},
		{"very many metrics", commands, bytes.Repeat([]byte{0x12, 0}, 500_000), false},
		{"many metrics, no rebirth", commands, AppendBirth(nil, many), false},
		{"retained", commands, whole, true},
		{"of another node", "spBv1.0/riverside-hose-shop/NCMD/south-bench", whole, false},
		{"of a device", "spBv1.0/riverside-hose-shop/DCMD/north-bench/press", whole, false},
		{"a state, though no host is awaited", "spBv1.0/STATE/control-room", []byte(`{"online":false,"timestamp":1}`), true},
		{"long topic", "spBv1.0/" + strings.Repeat("x", 10_000), whole, false},
		{"not of Sparkplug", "plant/other", noise(10), false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			playing(t, nil, func(p *play) {
				p.s.say(tc.topic, tc.payload, tc.retained)
				p.wait(2 * rebirthEvery)
				if got := len(p.s.messages(NBIRTH)); got != 1 {
					t.Errorf("%d births, want 1", got)
				}
				if got := p.State().Ignored; got != 1 {
					t.Errorf("%d messages were ignored, want 1", got)
				}
				p.lives()
			})
		})
	}
}

// TestRebirthStorm asks for births without end, at QoS 0, where the ear lets few
// through, and at QoS 1, where it lets all.
func TestRebirthStorm(t *testing.T) {
	for _, tc := range []struct {
		qos byte
		n   int
	}{{0, 100_000}, {1, 10_000}} {
		if testing.Short() {
			tc.n /= 10
		}
		t.Run(fmt.Sprintf("QoS %d", tc.qos), func(t *testing.T) {
			playing(t, nil, func(p *play) {
				ask := rebirthCommand()
				var before, after runtime.MemStats
				runtime.GC()
				runtime.ReadMemStats(&before)
				for i := range tc.n {
					m := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
					m.TopicName, m.Payload, m.Qos, m.MessageID = commands, ask, tc.qos, uint16(i%60000+1)
					p.s.write(p.s.conn, m)
					if i%(tc.n/10) == 0 {
						p.lives() // a second each
					}
				}
				synctest.Wait()
				runtime.GC()
				runtime.ReadMemStats(&after)
				if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 4<<20 {
					t.Errorf("%d bytes more are in use", grown)
				}
				p.wait(3 * rebirthEvery)
				// Ten seconds of storm: the first birth, one at once, and one or two held back.
				if got := len(p.s.messages(NBIRTH)); got < 3 || got > 4 {
					t.Errorf("%d births", got)
				}
				if got := p.s.attempts(); got != 1 {
					t.Errorf("%d connections, want 1", got)
				}
			})
		})
	}
}

// withHost awaits a host.
func withHost(_ *stub, _ *logbook, set *Settings) { set.Host = "control-room" }

func TestStrangeStates(t *testing.T) {
	for _, text := range []string{
		``, `{}`, `ONLINE`, `{"online":"true","timestamp":5}`, `{"online":1,"timestamp":5}`, `{"online":true}`, `{"online":true,"timestamp":"5"}`,
		`{"online":true,"timestamp":-1}`, `{"online":true,"timestamp":1.5}`, `{"online":true,"timestamp":999999999999999}`, `[true,5]`, "\xff\xfe",
		`{"online":true,"timestamp":5}` + strings.Repeat(" ", 20_000),
	} {
		t.Run(fmt.Sprintf("%.40q", text), func(t *testing.T) {
			playing(t, withHost, func(p *play) {
				p.s.setState(text)
				p.wait(time.Minute)
				if got := len(p.s.messages()); got != 0 {
					t.Errorf("%d messages though the host is not known to be online", got)
				}
				if got := p.State().Ignored; got != 1 {
					t.Errorf("%d messages were ignored, want 1", got)
				}
				p.s.setState(`{"online":true,"timestamp":253402300799999}`) // by a clock that is ahead
				p.wait(time.Second)
				p.lives()
			})
		})
	}
}

func TestHostThatFlaps(t *testing.T) {
	playing(t, withHost, func(p *play) {
		for i := range 1000 {
			p.s.setState(fmt.Sprintf(`{"online":true,"timestamp":%d}`, 2*i))
			p.wait(5 * time.Second)
			p.s.setState(fmt.Sprintf(`{"online":false,"timestamp":%d}`, 2*i+1))
			p.wait(5 * time.Second)
			if st := p.State(); st.Connected || st.Reason != "the primary host control-room is not online at broker.example:1883" {
				t.Fatalf("flap %d: state %+v", i, st)
			}
		}
		births, deaths := p.s.messages(NBIRTH), p.s.messages(NDEATH)
		if len(births) != 1000 || len(deaths) != 1000 {
			t.Errorf("%d births, %d deaths, want 1000 each", len(births), len(deaths))
		}
		p.s.setState(`{"online":true,"timestamp":9999}`)
		p.wait(5 * time.Second)
		p.lives()
	})
}

// TestBadBrokers has brokers that do not do as they should, then one that does.
func TestBadBrokers(t *testing.T) {
	cut := func(conn net.Conn) { _ = conn.Close() }
	const topic = "spBv1.0/riverside-hose-shop/NCMD/north-bench"
	for _, tc := range []struct {
		name string
		bad  func(conn net.Conn, p packets.ControlPacket) bool
		want string // reason
	}{
		{"subscription denied", func(conn net.Conn, p packets.ControlPacket) bool {
			s, ok := p.(*packets.SubscribePacket)
			if ok {
				_, _ = conn.Write([]byte{0x90, 3, byte(s.MessageID >> 8), byte(s.MessageID), 0x80})
			}
			return ok
		}, "the broker does not let this press listen to " + topic + ": check its access list"},
		{"subscription not answered", func(_ net.Conn, p packets.ControlPacket) bool {
			_, ok := p.(*packets.SubscribePacket)
			return ok
		}, "the broker does not answer when this press asks to listen to " + topic + ": is it a broker?"},
		{"cut at the subscription", func(conn net.Conn, p packets.ControlPacket) bool {
			_, ok := p.(*packets.SubscribePacket)
			if ok {
				cut(conn)
			}
			return ok
		}, "the broker ends the connection when this press asks to listen to " + topic + ": check its access list"},
		{"malformed packets", func(conn net.Conn, p packets.ControlPacket) bool {
			_, ok := p.(*packets.SubscribePacket)
			if ok {
				go conn.Write([]byte{0x20, 0xff, 0xff, 0xff, 0xff, 0xff}) //nolint:errcheck // test
			}
			return ok
		}, "the broker ends the connection when this press asks to listen to " + topic + ": check its access list"},
		{"cut at the birth", func(conn net.Conn, p packets.ControlPacket) bool {
			m, ok := p.(*packets.PublishPacket)
			if ok = ok && strings.Contains(m.TopicName, "NBIRTH"); ok {
				cut(conn)
			}
			return ok
		}, "the broker ends each connection soon after it is made: is another client of it using the id north-bench-7f3a-s?"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			sane := make(chan struct{})
			playing(t, func(s *stub, _ *logbook, _ *Settings) {
				s.odd = func(conn net.Conn, p packets.ControlPacket) bool {
					select {
					case <-sane:
						return false
					default:
						return tc.bad(conn, p)
					}
				}
			}, func(p *play) {
				p.wait(10 * time.Minute)
				if st := p.State(); st.Connected || !strings.HasPrefix(st.Reason, tc.want) {
					t.Errorf("state %+v, want the reason %q", st, tc.want)
				}
				if got := p.s.attempts(); got < 5 || got > 150 {
					t.Errorf("%d attempts in ten minutes", got)
				}
				close(sane)
				p.wait(2 * time.Minute)
				p.lives()
			})
		})
	}
}

func TestBrokerThatDoesNotHearTheDeath(t *testing.T) {
	playing(t, func(s *stub, _ *logbook, _ *Settings) {
		s.odd = func(_ net.Conn, p packets.ControlPacket) bool {
			m, ok := p.(*packets.PublishPacket)
			return ok && m.Qos == 1
		}
	}, func(p *play) {
		before := time.Now()
		p.stop()
		if p.s.left != 0 {
			t.Error("DISCONNECT takes the will back, though nobody acknowledged the death")
		}
		if took := time.Since(before); took > 2*broker.Farewell {
			t.Errorf("it took %v", took)
		}
	})
}

func TestStopWhileWaiting(t *testing.T) {
	for _, tc := range []struct {
		name string
		prep func(*stub, *logbook, *Settings)
	}{
		{"for the host", withHost},
		{"for the answer to SUBSCRIBE", func(s *stub, _ *logbook, _ *Settings) {
			s.odd = func(_ net.Conn, p packets.ControlPacket) bool { _, ok := p.(*packets.SubscribePacket); return ok }
		}},
		{"for a broker", func(s *stub, _ *logbook, _ *Settings) { s.absent = map[string]bool{"broker.example:1883": true} }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			playing(t, tc.prep, func(p *play) {
				p.say(stroke("A-1/1"))
				p.wait(5 * time.Second)
				before := time.Now()
				p.stop()
				if took := time.Since(before); took > 2*broker.Farewell {
					t.Errorf("it took %v", took)
				}
				wantKinds(t, p.s.messages())
				if st := p.State(); st.Connected {
					t.Errorf("state %+v", st)
				}
			})
		})
	}
}

func TestLogThatFails(t *testing.T) {
	disk := errors.New("no space left on device")
	t.Run("no session number", func(t *testing.T) {
		playing(t, func(_ *stub, l *logbook, _ *Settings) { l.fail = disk }, func(p *play) {
			p.wait(time.Minute)
			if st := p.State(); p.s.attempts() != 0 || st.Reason != "the store gives no session number: no space left on device" {
				t.Errorf("%d CONNECTs, state %+v", p.s.attempts(), st)
			}
			p.log.mu.Lock()
			p.log.fail = nil
			p.log.mu.Unlock()
			p.wait(10 * time.Second)
			if n, ok := bdSeqOf(p.s.messages(NBIRTH)[0].raw); !ok || n != 0 {
				t.Errorf("bdSeq %d in the first birth", n)
			}
			p.lives()
		})
	})
	t.Run("number counted but not flushed", func(t *testing.T) {
		log := newLogbook()
		n, err := New(settings(), flushless{log})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := n.nextBirth(); err == nil || log.marks[markBirths].seq != 0 {
			t.Errorf("%v, mark %+v, want an error and no session counted", err, log.marks[markBirths])
		}
		n.log = log
		for want := range int64(3) {
			if got, err := n.nextBirth(); got != want || err != nil {
				t.Errorf("got %d, %v, want %d", got, err, want)
			}
		}
	})
	t.Run("no marks to be read", func(t *testing.T) {
		playing(t, func(s *stub, l *logbook, set *Settings) {
			withHost(s, l, set)
			l.blind = disk
		}, func(p *play) {
			p.wait(time.Minute)
			if st := p.State(); st.Connected || !strings.Contains(st.Reason, "no session number") {
				t.Errorf("state %+v", st)
			}
		})
	})
	t.Run("marks that cannot be set later", func(t *testing.T) {
		playing(t, func(s *stub, l *logbook, set *Settings) {
			withHost(s, l, set)
			s.state = `{"online":true,"timestamp":1}`
		}, func(p *play) {
			p.log.mu.Lock()
			p.log.fail = disk
			p.log.mu.Unlock()
			for range 5 {
				p.lives()
				p.wait(2 * doubtful)
			}
		})
	})
	t.Run("records", func(t *testing.T) {
		playing(t, func(_ *stub, l *logbook, _ *Settings) {
			l.add(stroke("A-1/1"), stroke("A-1/2"))
			l.broken = func(seq uint64) (error, bool) {
				switch seq {
				case 2, 4: // damaged, the others can be read
					return disk, false
				case 6:
					return disk, true
				}
				return nil, false
			}
		}, func(p *play) {
			if m, _ := value(p.s.messages(DBIRTH)[0].payload, "Stroke/Piece"); m.Value != String("A-1/1") {
				t.Errorf("the piece in the birth is %v", m.Value)
			}
			p.say(stroke("A-1/3"), stroke("A-1/4"), stroke("A-1/5"), stroke("A-1/6"))
			if got := len(p.s.messages(DDATA)); got != 2 {
				t.Errorf("%d messages, want those of the records 3 and 5", got)
			}
			p.log.mu.Lock()
			p.log.broken = nil
			p.log.mu.Unlock()
			p.wait(lookEvery + time.Second)
			if got := len(p.s.messages(DDATA)); got != 3 {
				t.Errorf("%d messages, want that of record 6 as well", got)
			}
		})
	})
}

// flushless is a log that keeps nothing on disk.
type flushless struct{ *logbook }

func (flushless) FlushSent() error { return errors.New("input/output error") }

func TestPasswordThatIsNotThere(t *testing.T) {
	playing(t, func(_ *stub, _ *logbook, set *Settings) {
		set.User, set.PasswordFile = "north-bench", "/nonexistent/password"
	}, func(p *play) {
		if st := p.State(); st.Connected || !strings.HasPrefix(st.Reason, "password: open /nonexistent/password") {
			t.Errorf("state %+v", st)
		}
	})
}

func TestSettings(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*Settings)
		want   string
	}{
		{"no broker", func(s *Settings) { s.Address = "" }, "want tcp://host:1883"},
		{"group", func(s *Settings) { s.Group = "a/b" }, `group: "a/b" may not hold /`},
		{"node", func(s *Settings) { s.Node = "" }, "node: it is empty"},
		{"device", func(s *Settings) { s.Device = "#" }, `device: "#" may not hold #`},
		{"host", func(s *Settings) { s.Host = "+" }, `host: "+" may not hold +`},
		{"client id", func(s *Settings) { s.ClientID = "a\n" }, "want 1 to 128 bytes"},
		{"keepalive", func(s *Settings) { s.Keepalive = time.Millisecond }, "1ms: want 1s to 12 h"},
		{"wait", func(s *Settings) { s.BackoffMax = 13 * time.Hour }, "13h0m0s: want 1ms to 12 h"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := settings()
			tc.change(&s)
			if _, err := New(s, newLogbook()); err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want an error with %q", err, tc.want)
			}
		})
	}
	s := settings()
	s.Log = nil
	if n, err := New(s, newLogbook()); err != nil || n.s.Keepalive != 30*time.Second || n.s.BackoffMax != time.Minute {
		t.Errorf("%v, want defaults", err)
	}
}

func TestOnChange(t *testing.T) {
	changes := 0
	playing(t, func(_ *stub, _ *logbook, set *Settings) { set.OnChange = func() { changes++ } }, func(p *play) {
		p.lives()
		p.command() // births again, and nothing changes
		p.wait(time.Hour)
		if changes != 1 {
			t.Errorf("%d changes, want that to connected", changes)
		}
		p.s.locked(func() { p.s.absent = map[string]bool{"broker.example:1883": true} })
		p.s.cut()
		p.wait(time.Hour)
		if changes > 3 { // lost, nothing answers
			t.Errorf("%d changes in an hour without a broker", changes)
		}
	})
}

// FuzzConversation has a broker say anything after CONNACK, before the
// subscription is answered or after the births. The node goes on, and is born at
// a broker that does as it should.
func FuzzConversation(f *testing.F) {
	f.Add([]byte("\x00\x90\x03\x00\x01\x01"))
	f.Add([]byte("\x01\x30\x2e\x00\x2cspBv1.0/riverside-hose-shop/NCMD/north-bench\x12\x00"))
	f.Add([]byte("\x01\x32\x1a\x00\x16spBv1.0/STATE/control-r\x00\x07{}"))
	f.Add([]byte("\x00\x20\x02\x00\x05\xd0\x00\x40\x02\x00\x01\x90\x03\x00\x01\x80\xe0\x00"))
	f.Add([]byte("\x01\x34\x03\x00\x01a\x36\x03\x00\x01a\x62\x02\x00\x01\xff\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, says []byte) {
		if len(says) == 0 {
			return
		}
		synctest.Test(t, func(t *testing.T) {
			odd := false
			s, log := &stub{}, newLogbook()
			s.odd = func(conn net.Conn, p packets.ControlPacket) bool {
				_, asks := p.(*packets.SubscribePacket)
				m, births := p.(*packets.PublishPacket)
				births = births && strings.Contains(m.TopicName, "DBIRTH")
				if !odd && (asks && says[0] == 0 || births && says[0] != 0) {
					odd = true
					go func() {
						_, _ = conn.Write(says[1:])
						time.Sleep(time.Minute)
						_ = conn.Close()
					}()
					return true
				}
				return false
			}
			n := start(t, settings(), log, s.network)
			time.Sleep(5 * time.Minute)
			synctest.Wait()
			if st := n.State(); !st.Connected {
				t.Errorf("state %+v after five minutes, four of them at a good broker", st)
			}
			log.add(stroke("A-1/1"))
			n.Wake()
			synctest.Wait()
			if got := s.messages(DDATA); len(got) != 1 {
				t.Errorf("%d messages of data, want 1", len(got))
			}
			n.stop()
		})
	})
}

func FuzzHeard(f *testing.F) {
	f.Add("spBv1.0/riverside-hose-shop/NCMD/north-bench", rebirthCommand(), false)
	f.Add("spBv1.0/STATE/control-room", []byte(`{"online":true,"timestamp":5}`), true)
	f.Add("spBv1.0/STATE/control-room", []byte(`{"online":false,"timestamp":5}`), false)
	f.Add("", []byte(nil), false)
	s := settings()
	s.Host = "control-room"
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		n, err := New(s, newLogbook())
		if err != nil {
			t.Fatal(err)
		}
		l := newLink(n, 0)
		l.hear(topic, payload, retained)
		taken := n.State().Ignored == 0
		rebirth, _ := l.due(time.Now())
		switch topic {
		case commands:
			if rebirth != taken || rebirth && retained || l.host != nil {
				t.Errorf("taken %t, rebirth %t, retained %t", taken, rebirth, retained)
			}
		case "spBv1.0/STATE/control-room":
			if (l.host != nil) != taken || rebirth || l.arrived() != (taken && l.host.Online) {
				t.Errorf("taken %t as %+v, rebirth %t", taken, l.host, rebirth)
			}
		default:
			if taken {
				t.Errorf("taken on %q", topic)
			}
		}
	})
}
