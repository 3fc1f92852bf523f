package broker

import (
	"bytes"
	"errors"
	"io"
	"net"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/iotest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// hear feeds bytes through an ear, from a connection that then ends.
func hear(t *testing.T, in io.Reader) (string, error) {
	t.Helper()
	return hearWith(t, in, Hearing{})
}

func hearWith(t *testing.T, in io.Reader, h Hearing) (string, error) {
	t.Helper()
	here, there := net.Pipe()
	var feeding sync.WaitGroup
	feeding.Go(func() {
		_, _ = io.Copy(there, in)
		_ = there.Close()
	})
	got, err := io.ReadAll(iotest.OneByteReader(newEar(here, time.Second, h)))
	_ = here.Close()
	feeding.Wait()
	return string(got), err
}

func TestEarHandsOnThreePackets(t *testing.T) {
	const (
		yes  = "\x20\x02\x00\x00"
		ack  = "\x40\x02\x00\x07"
		pong = "\xd0\x00"
	)
	for _, tc := range []struct {
		name, in, want, fault string
	}{
		{"nothing", "", "", ""},
		{"the three", yes + ack + pong, yes + ack + pong, ""},
		{"refusal", "\x20\x02\x00\x05", "\x20\x02\x00\x05", ""},
		{"publish at QoS 0", yes + "\x30\x05\x00\x01ahi" + ack, yes + ack, ""},
		{"publish at QoS 1", yes + "\x32\x07\x00\x01a\x00\x01hi" + pong, yes + pong, ""},
		{"suback", yes + "\x90\x03\x00\x01\x00" + ack, yes + ack, ""},
		{"pubrec, pubrel, pubcomp", "\x50\x02\x00\x01\x62\x02\x00\x01\x70\x02\x00\x01" + ack, ack, ""},
		{"connect and subscribe of a peer that is a client", "\x10\x00\x82\x00" + ack, ack, ""},
		{"length in two bytes", "\x30\x80\x01" + strings.Repeat("x", 128) + pong, pong, ""},
		{"length in four bytes though short", "\x30\x81\x80\x80\x00x" + pong, pong, ""},
		{"length in five bytes", "\x30\x80\x80\x80\x80\x01", "", "length is malformed"},
		{"connack too long", "\x20\x03\x00\x00\x00", "", "0x20 has 3 bytes instead of 2"},
		{"puback too short", "\x40\x01\x00", "", "0x40 has 1 bytes instead of 2"},
		{"pingresp with something in it", "\xd0\x01x", "", "0xd0 has 1 bytes instead of 0"},
		{"connack with an unknown code", "\x20\x02\x00\x06", "", "unknown code 6"},
		{"cut off in a packet", yes + "\x40\x02\x00", yes, "unexpected EOF"},
		{"flags on a puback are no puback", "\x42\x02\x00\x07" + pong, pong, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := hear(t, strings.NewReader(tc.in))
			if got != tc.want {
				t.Errorf("handed on %q, want %q", got, tc.want)
			}
			if tc.fault == "" && err != nil || tc.fault != "" && (err == nil || !strings.Contains(err.Error(), tc.fault)) {
				t.Errorf("error %v, want %q", err, tc.fault)
			}
		})
	}
}

func TestEarWithAHearing(t *testing.T) {
	const ack = "\x40\x02\x00\x07"
	long := "\x30\x80\x01\x00\x01a" + strings.Repeat("x", 125)
	for _, tc := range []struct {
		name, in, want, fault string
	}{
		{"publish at QoS 0", "\x30\x05\x00\x01ahi" + ack, "\x30\x05\x00\x01ahi" + ack, ""},
		{"publish at QoS 1, again, retained", "\x3b\x07\x00\x01a\x00\x01hi", "\x3b\x07\x00\x01a\x00\x01hi", ""},
		{"publish at QoS 2 and 3", "\x34\x07\x00\x01a\x00\x01hi\x36\x07\x00\x01a\x00\x01hi" + ack, ack, ""},
		{"suback", "\x90\x03\x00\x01\x80", "\x90\x03\x00\x01\x80", ""},
		{"suback for two", "\x90\x04\x00\x01\x00\x00", "", "0x90 has 4 bytes instead of 3"},
		{"a longer message is cut off", long + ack, "\x30\x20\x00\x01a" + strings.Repeat("x", 29) + ack, ""},
		{"no room for its topic", "\x30\x05\x00\x09ahi", "", "does not hold its topic"},
		{"a topic longer than may be heard", "\x30\x80\x01\x00\x7d" + strings.Repeat("x", 126), "", "does not hold its topic"},
		{"an empty message", "\x30\x00", "", "does not hold its topic"},
		{"no packet id", "\x32\x03\x00\x01a", "", "does not hold its topic"},
		{"three at QoS 0 in one second", strings.Repeat("\x30\x03\x00\x01a", 4) + ack, strings.Repeat("\x30\x03\x00\x01a", 3) + ack, ""},
		{"all at QoS 1", strings.Repeat("\x32\x05\x00\x01a\x00\x01", 5), strings.Repeat("\x32\x05\x00\x01a\x00\x01", 5), ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := hearWith(t, strings.NewReader(tc.in), Hearing{Longest: 32, Most: 3})
			if got != tc.want {
				t.Errorf("got  %q\nwant %q", got, tc.want)
			}
			if tc.fault == "" && err != nil || tc.fault != "" && (err == nil || !strings.Contains(err.Error(), tc.fault)) {
				t.Errorf("error %v, want %q", err, tc.fault)
			}
		})
	}
}

func TestEarKeepsNothingOfALongMessage(t *testing.T) {
	const size = 32 << 20
	long := io.MultiReader(
		strings.NewReader("\x30\x80\x80\x80\x10"), // 32 MiB follow
		io.LimitReader(endless{}, size),
		strings.NewReader("\xd0\x00"),
	)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	got, err := hear(t, long)
	if err != nil || got != "\xd0\x00" {
		t.Fatalf("handed on %d bytes, %v; want the answer to a ping", len(got), err)
	}
	runtime.ReadMemStats(&after)
	if taken := after.TotalAlloc - before.TotalAlloc; taken > 1<<20 {
		t.Errorf("a message of %d bytes took %d bytes of memory", size, taken)
	}
}

type endless struct{}

func (endless) Read(b []byte) (int, error) { return len(b), nil }

func TestEarOfAConnectionGivenUp(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() //nolint:errcheck // test
	conn, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := newEar(conn, time.Second, Hearing{}).Read(make([]byte, 1)); !errors.Is(err, errGivenUp) {
		t.Errorf("got %v, want %v", err, errGivenUp)
	}
}

func TestEarWritesWithADeadline(t *testing.T) {
	here, there := net.Pipe()
	defer there.Close() //nolint:errcheck // test
	defer here.Close()  //nolint:errcheck // test
	if _, err := newEar(here, 5*time.Millisecond, Hearing{}).Write([]byte("x")); !isTimeout(err) {
		t.Errorf("a peer that takes nothing: got %v, want a timeout", err)
	}
}

func FuzzEar(f *testing.F) {
	f.Add([]byte("\x20\x02\x00\x00\x40\x02\x00\x07\xd0\x00"))
	f.Add([]byte("\x30\xff\xff\xff\x7fabc"))
	f.Add([]byte("\x32\x07\x00\x01a\x00\x01hi\xd0\x00"))
	f.Fuzz(func(t *testing.T, in []byte) {
		e := newEar(nil, 0, Hearing{})
		e.in.Reset(bytes.NewReader(in))
		got, _ := io.ReadAll(e)
		if len(got) > len(in) {
			t.Fatalf("%d bytes became %d", len(in), len(got))
		}
		for len(got) > 0 { // nothing but whole, well-formed packets
			switch {
			case bytes.HasPrefix(got, []byte{connack, 2}) && len(got) >= 4 && got[3] <= 5, bytes.HasPrefix(got, []byte{puback, 2}) && len(got) >= 4:
				got = got[4:]
			case bytes.HasPrefix(got, []byte{pingresp, 0}):
				got = got[2:]
			default:
				t.Fatalf("handed on %q", got)
			}
		}
		e = newEar(nil, 0, Hearing{Longest: 64, Most: 10})
		e.in.Reset(bytes.NewReader(in))
		heard, _ := io.ReadAll(e)
		for all := bytes.NewReader(heard); all.Len() > 0; { // and the library reads them without a fault
			packet, err := packets.ReadPacket(all)
			if err != nil {
				t.Fatalf("handed on %q: %v", heard, err)
			}
			if m, ok := packet.(*packets.PublishPacket); ok && (m.Qos > 1 || len(m.Payload) > 64) {
				t.Fatalf("a message at QoS %d of %d bytes", m.Qos, len(m.Payload))
			}
		}
	})
}
