package mqtt

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
)

// hear feeds bytes through an ear, from a connection that then ends.
func hear(t *testing.T, in io.Reader) (string, error) {
	t.Helper()
	here, there := net.Pipe()
	var feeding sync.WaitGroup
	feeding.Go(func() {
		_, _ = io.Copy(there, in)
		_ = there.Close()
	})
	got, err := io.ReadAll(iotest.OneByteReader(newEar(here, time.Second)))
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
	if _, err := newEar(conn, time.Second).Read(make([]byte, 1)); !errors.Is(err, errGivenUp) {
		t.Errorf("got %v, want %v", err, errGivenUp)
	}
}

func TestEarWritesWithADeadline(t *testing.T) {
	here, there := net.Pipe()
	defer there.Close() //nolint:errcheck // test
	defer here.Close()  //nolint:errcheck // test
	if _, err := newEar(here, 5*time.Millisecond).Write([]byte("x")); !isTimeout(err) {
		t.Errorf("a peer that takes nothing: got %v, want a timeout", err)
	}
}

func FuzzEar(f *testing.F) {
	f.Add([]byte("\x20\x02\x00\x00\x40\x02\x00\x07\xd0\x00"))
	f.Add([]byte("\x30\xff\xff\xff\x7fabc"))
	f.Add([]byte("\x32\x07\x00\x01a\x00\x01hi\xd0\x00"))
	f.Fuzz(func(t *testing.T, in []byte) {
		e := newEar(nil, 0)
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
	})
}
