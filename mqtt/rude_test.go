package mqtt

import (
	"context"
	"net"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Tests of brokers that break the protocol, on the first connections; then they
// are good. What one packet does is in the tests of package broker.

// rude is such a broker.
type rude struct {
	good  fake
	times int64
	nth   atomic.Int64

	open func(conn net.Conn)                           // what it says to CONNECT; nil CONNACK
	take func(conn net.Conn, p *packets.PublishPacket) // what it says to PUBLISH; nil PUBACK
}

const welcome = "\x20\x02\x00\x00"

// puback is an acknowledgement.
func puback(id uint16) string { return string([]byte{0x40, 2, byte(id >> 8), byte(id)}) }

// say sends raw bytes to a press that may be gone.
func say(conn net.Conn, bytes string) { _, _ = conn.Write([]byte(bytes)) }

// note marks an event as acknowledged.
func (r *rude) note(p *packets.PublishPacket) {
	r.good.mu.Lock()
	defer r.good.mu.Unlock()
	if r.good.acked == nil {
		r.good.acked = map[uint64]bool{}
	}
	r.good.acked[message{payload: string(p.Payload)}.seq()] = true
}

func (r *rude) serve(conn net.Conn) {
	if r.nth.Add(1) > r.times {
		r.good.serve(conn)
		return
	}
	defer conn.Close() //nolint:errcheck // test
	for {
		cp, err := packets.ReadPacket(conn)
		if err != nil {
			return
		}
		switch cp := cp.(type) {
		case *packets.ConnectPacket:
			if r.open == nil {
				say(conn, welcome)
			} else {
				r.open(conn)
			}
		case *packets.PublishPacket:
			if r.take == nil {
				r.note(cp)
				say(conn, puback(cp.MessageID))
			} else {
				r.take(conn, cp)
			}
		case *packets.PingreqPacket:
			say(conn, "\xd0\x00")
		}
	}
}

// flood says the same again and again until the press is gone.
func flood(conn net.Conn, times int, bytes string) {
	go func() {
		for range times {
			if _, err := conn.Write([]byte(bytes)); err != nil {
				return
			}
		}
	}()
}

func TestRudeBrokers(t *testing.T) {
	const events, times = 200, 2
	bytes := make([]byte, 4096) // garbage, the same each time
	for i := range bytes {
		bytes[i] = byte(i*i*31 + i>>3)
	}
	garbage := string(bytes)
	after := func(more string) func(net.Conn) {
		return func(conn net.Conn) { say(conn, welcome+more) }
	}
	large := "\x32\x86\x80\x01\x00\x01a\x00\x01" + strings.Repeat("x", 16385) // PUBLISH, QoS 1, 16 KiB
	for _, tc := range []struct {
		name string
		open func(net.Conn)
		take func(*rude) func(net.Conn, *packets.PublishPacket)
		once bool // one connection bears it
	}{
		{"garbage for CONNACK", func(c net.Conn) { say(c, garbage) }, nil, false},
		{"another protocol", func(c net.Conn) { say(c, "HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n") }, nil, false},
		{"PUBACK for CONNACK", func(c net.Conn) { say(c, puback(1)) }, nil, false},
		{"garbage behind CONNACK", after(garbage), nil, false},
		{"a length without an end", after("\x40\xff\xff\xff\xff\xff"), nil, false},
		{"an acknowledgement too short", after("\x40\x01\x00"), nil, false},
		{"an acknowledgement too long", nil, func(*rude) func(net.Conn, *packets.PublishPacket) {
			return func(c net.Conn, p *packets.PublishPacket) {
				say(c, string([]byte{0x40, 3, byte(p.MessageID >> 8), byte(p.MessageID), 0}))
			}
		}, false},
		{"half of an acknowledgement", nil, func(*rude) func(net.Conn, *packets.PublishPacket) {
			return func(c net.Conn, p *packets.PublishPacket) {
				say(c, puback(p.MessageID)[:3])
				_ = c.Close()
			}
		}, false},
		{"a message that never ends", after("\x30\xff\xff\xff\x7f\x00\x01a"), nil, false},
		{"CONNACK twice", after(welcome), nil, true},
		{"CONNACK that refuses behind one that does not", after("\x20\x02\x00\x05"), nil, true},
		{"acknowledgements of what was never sent", func(c net.Conn) {
			say(c, welcome)
			for id := uint16(1000); id < 30000; id++ {
				say(c, puback(id))
			}
		}, nil, true},
		{"acknowledgements of packet 0", nil, func(r *rude) func(net.Conn, *packets.PublishPacket) {
			return func(c net.Conn, p *packets.PublishPacket) {
				r.note(p)
				say(c, puback(0)+puback(p.MessageID)+puback(0))
			}
		}, true},
		{"each acknowledged thrice", nil, func(r *rude) func(net.Conn, *packets.PublishPacket) {
			return func(c net.Conn, p *packets.PublishPacket) {
				r.note(p)
				say(c, strings.Repeat(puback(p.MessageID), 3))
			}
		}, true},
		{"PUBREC for PUBACK", nil, func(*rude) func(net.Conn, *packets.PublishPacket) {
			return func(c net.Conn, p *packets.PublishPacket) {
				say(c, "\x50"+puback(p.MessageID)[1:])
			}
		}, false},
		{"a flood of messages and SUBACKs", func(c net.Conn) {
			say(c, welcome)
			flood(c, 4000, large+"\x90\x03\x00\x01\x00"+"\x34\x07\x00\x01a\x00\x02hi")
		}, nil, true},
		{"a flood of answers to no ping", func(c net.Conn) {
			say(c, welcome)
			flood(c, 20000, "\xd0\x00")
		}, nil, true},
		{"words of a client", after("\x10\x00\x82\x00\xc0\x00\xe0\x00"), nil, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			before := runtime.NumGoroutine()
			r := &rude{times: times, open: tc.open}
			if tc.take != nil {
				r.take = tc.take(r)
			}
			s := settings(listen(t, r.serve))
			s.Window, s.AckTimeout, s.Timeout = 16, 200*time.Millisecond, 200*time.Millisecond
			if tc.once {
				s.AckTimeout = 10 * time.Second // a flood takes its time
			}
			b := newBox(events)
			r.good.checkSent(t, b)
			var told history
			s.OnChange = told.note
			heap := heapInUse()
			p := start(t, s, b, nil)
			drain(t, p)
			if grown := heapInUse() - heap; grown > 8<<20 {
				t.Errorf("the heap has grown by %d bytes", grown)
			}
			session := p.State().Session
			p.stop()
			if b.cursor() != events {
				t.Errorf("sent up to %d, want %d", b.cursor(), events)
			}
			if tc.once && session != 1 {
				t.Errorf("%d sessions, want one: %+v", session, told.all())
			}
			if !tc.once {
				if session != times+1 {
					t.Errorf("%d sessions, want one after the %d rude ones", session, times)
				}
				if !slices.ContainsFunc(told.all(), func(s State) bool { return s.Reason != "" }) {
					t.Error("no reason was ever told")
				}
			}
			until(t, "no goroutine is left", func() bool { return runtime.NumGoroutine() <= before+1 }) // the listener's own
		})
	}
}

// heapInUse is the size of what is on the heap.
func heapInUse() int64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// FuzzConversation answers each packet of a press with the next bytes of a
// script: a length and as many bytes. Whatever they are, the press neither stops
// nor hangs, and sends its events to the good broker that comes on the third
// connection.
func FuzzConversation(f *testing.F) {
	script := func(answers ...string) []byte {
		var b []byte
		for _, a := range answers {
			b = append(append(b, byte(len(a))), a...)
		}
		return b
	}
	f.Add([]byte{})
	f.Add(script(welcome, puback(1), puback(2), puback(3)))
	f.Add(script(welcome+puback(1)+puback(2), "", "\x40\x03\x00\x01\x00"))
	f.Add(script(welcome+welcome, puback(1)))
	f.Add(script(welcome, puback(1), "\xd0\x00\xd0\x00\xd0\x01", welcome, "\x30\xff\xff\xff\x7f"))
	f.Add(script("\x20\x02\x00\x05", welcome, puback(1)+"\xe0\x00"))
	f.Add(script("\x20\x02\x01\x00", puback(1), "\x90\x03\x00\x01\x00", "\x50\x02\x00\x02"))
	f.Fuzz(func(t *testing.T, script []byte) {
		if len(script) > 4096 {
			return
		}
		synctest.Test(t, func(t *testing.T) {
			good := &fake{}
			rest, nth := script, 0
			answer := func(conn net.Conn) {
				defer conn.Close() //nolint:errcheck // test
				for {
					if _, err := packets.ReadPacket(conn); err != nil {
						return
					}
					if len(rest) == 0 {
						continue // silent from now on
					}
					n := min(int(rest[0]), len(rest)-1)
					next := rest[1 : 1+n]
					rest = rest[1+n:]
					if _, err := conn.Write(next); err != nil {
						return
					}
				}
			}
			b := newBox(5)
			p := start(t, slow(), b, func(ctx context.Context, network, addr string) (net.Conn, error) {
				if nth++; nth > 2 {
					return good.pipe(ctx, network, addr)
				}
				here, there := net.Pipe()
				go answer(there)
				return here, nil
			})
			ctx, cancel := context.WithTimeout(context.Background(), time.Hour)
			defer cancel()
			if err := p.Drain(ctx); err != nil {
				t.Fatalf("%v; state %+v", err, p.State())
			}
			began := time.Now()
			p.stop()
			if d := time.Since(began); d > 30*time.Second {
				t.Errorf("stopping took %v", d)
			}
			if b.cursor() != 5 {
				t.Errorf("sent up to %d", b.cursor())
			}
		})
	})
}
