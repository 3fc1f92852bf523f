package main

import (
	"bufio"
	"strings"
	"testing"
	"time"
)

func TestQuantile(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		part   float64
		want   float64
	}{
		{"nothing", nil, 0.5, 0},
		{"the median of three rounds", []float64{9, 1, 4}, 0.5, 4},
		{"the lower of two in the middle", []float64{4, 3, 2, 1}, 0.5, 2},
		{"the 99th of a hundred and one", counted(101), 0.99, 100},
		{"the 99th of a few is the largest", []float64{3, 1, 2}, 0.99, 3},
		{"all", []float64{3, 1, 2}, 1, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := quantile(c.values, c.part); got != c.want {
				t.Errorf("quantile(%v, %v) = %v, want %v", c.values, c.part, got, c.want)
			}
		})
	}
}

// counted is 1 to n.
func counted(n int) (values []float64) {
	for i := range n {
		values = append(values, float64(i+1))
	}
	return values
}

// The packets are those of MQTT 3.1.1, sections 3.3 (PUBLISH), 3.13 (PINGRESP) and 2.2.3
// (lengths).
func TestListen(t *testing.T) {
	long := `{"sequence":"00000000000000000042","data":"` + strings.Repeat("x", 200) + `"}`
	stream := "\x30\x05\x00\x01ahi" + "\xd0\x00" +
		"\x31" + string([]byte{byte(3+len(long))&127 | 128, byte((3 + len(long)) >> 7)}) + "\x00\x01b" + long
	var got []string
	err := listen(bufio.NewReader(strings.NewReader(stream)), func(topic, payload []byte, _ time.Time) {
		got = append(got, string(topic)+" "+string(payload))
	})
	if err == nil {
		t.Error("the end of the connection is no error")
	}
	if want := []string{"a hi", "b " + long}; len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("heard %q, want %q", got, want)
	}
	if seq, ok := sequence([]byte(long)); !ok || seq != 42 {
		t.Errorf("sequence %d, %v, want 42", seq, ok)
	}
	for _, bad := range []string{"", `{"sequence":"42"}`, `{"sequence":"0000000000000000004x"}`} {
		if seq, ok := sequence([]byte(bad)); ok {
			t.Errorf("sequence of %q is %d, want none", bad, seq)
		}
	}
	if err := listen(bufio.NewReader(strings.NewReader("\x30\x03\x00\x09a")), nil); err == nil || !strings.Contains(err.Error(), "topic longer") {
		t.Errorf("a topic longer than its packet: %v", err)
	}
}

func TestField(t *testing.T) {
	status := []byte("Name:\tVmRSS\nVmRSS:\t  4712 kB\nRssAnon:\t 812 kB\nnonvoluntary_ctxt_switches:\t9\nvoluntary_ctxt_switches:\t31\n")
	for name, want := range map[string]float64{"VmRSS:": 4712, "RssAnon:": 812, "voluntary_ctxt_switches:": 31, "VmSwap:": 0} {
		if got := field(status, name); got != want {
			t.Errorf("%s %v, want %v", name, got, want)
		}
	}
}
