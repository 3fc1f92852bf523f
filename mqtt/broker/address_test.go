package broker

import (
	"slices"
	"strings"
	"testing"
)

func TestBrokerAddress(t *testing.T) {
	for _, tc := range []struct {
		in, want string // "" refused
		tls      bool
	}{
		{"tcp://h:1", "h:1", false},
		{"tcp://h", "h:1883", false},
		{"tcp://h/", "h:1883", false},
		{"mqtt://h", "h:1883", false},
		{"ssl://h", "h:8883", true},
		{"mqtts://h", "h:8883", true},
		{"tls://h:99", "h:99", true},
		{"ssl://[2001:db8::1]:8883", "[2001:db8::1]:8883", true},
		{"tcp://192.0.2.7", "192.0.2.7:1883", false},
		{"h:1883", "", false},
		{"", "", false},
		{"http://h", "", false},
		{"tcp://", "", false},
		{"tcp://:1883", "", false},
		{"tcp://h:0", "", false},
		{"tcp://h:70000", "", false},
		{"tcp://h:x", "", false},
		{"tcp://h/path", "", false},
		{"tcp://h?q=1", "", false},
		{"tcp://h#f", "", false},
		{"tcp://h\n", "", false},
	} {
		a, err := parseOne(tc.in)
		switch {
		case tc.want == "" && err == nil:
			t.Errorf("%q is taken as %v", tc.in, a)
		case tc.want != "" && (err != nil || a.String() != tc.want || a.tls != tc.tls):
			t.Errorf("%q: got %v, TLS %t, %v; want %s, TLS %t", tc.in, a, a.tls, err, tc.want, tc.tls)
		}
	}
}

func TestSeveralAddresses(t *testing.T) {
	b, err := New(Access{Address: "tcp://a tcp://b:99 mqtt://c"})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := b.String(), "a:1883 b:99 c:1883"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	var turns []string
	for range 4 {
		round := "-"
		here := b.Here()
		if b.Next() {
			round = "all"
		}
		turns = append(turns, here+" "+round)
	}
	if got, want := strings.Join(turns, ", "), "a:1883 -, b:99 -, c:1883 all, a:1883 -"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	for in, want := range map[string]string{
		"tcp://a ssl://b":              "some addresses are with TLS and some without",
		"tcp://a tcp://a:1883":         "a:1883 stands there twice",
		"tcp://a  tcp://b":             "parted by one blank",
		strings.Repeat("tcp://a ", 20): "at most 16",
	} {
		if _, err := New(Access{Address: in}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want an error with %q", in, err, want)
		}
	}
}

func TestHosts(t *testing.T) {
	for _, tc := range []struct {
		name, address string
		hosts         []string
		tls           bool
		want          string // part of the error; "" none
	}{
		{"one", "tcp://broker.example", []string{"broker.example:1883"}, false, ""},
		{"two with TLS", "ssl://a:9 ssl://[::1]", []string{"a:9", "[::1]:8883"}, true, ""},
		{"none", "", nil, false, "want tcp://"},
		{"another scheme", "http://a", nil, false, "want tcp://"},
	} {
		hosts, tls, err := Access{Address: tc.address}.Hosts()
		if tc.want != "" {
			if err == nil || !strings.Contains(err.Error(), tc.want) || hosts != nil {
				t.Errorf("%s: got %v, %v, want an error with %q", tc.name, hosts, err, tc.want)
			}
			continue
		}
		if err != nil || tls != tc.tls || !slices.Equal(hosts, tc.hosts) {
			t.Errorf("%s: got %v, TLS %t, %v, want %v, TLS %t", tc.name, hosts, tls, err, tc.hosts, tc.tls)
		}
	}
}

func TestPlain(t *testing.T) {
	for _, tc := range []struct {
		broker string
		want   bool
	}{
		{"tcp://broker.example", true},
		{"tcp://192.0.2.7:1883", true},
		{"tcp://127.0.0.1:1883", false},
		{"tcp://[::1]:1883", false},
		{"tcp://localhost", false},
		{"ssl://broker.example", false},
		{"tcp://localhost tcp://broker.example", true},
		{"nonsense", false},
	} {
		if got := (Access{Address: tc.broker}).Plain(); got != tc.want {
			t.Errorf("Plain of %s = %t, want %t", tc.broker, got, tc.want)
		}
	}
}
