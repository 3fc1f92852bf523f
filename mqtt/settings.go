package mqtt

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"
)

// Settings say where to publish and how. Zero durations, Window and port take
// their defaults.
type Settings struct {
	Broker   string // tcp://host[:1883] or ssl://host[:8883]; mqtt:// and mqtts:// mean the same
	Base     string // <topic>/<name> of the press; see ValidBase
	ClientID string // unlike that of any other client of the broker

	// Files are read anew for each connection, so that a renewed certificate
	// or password needs no restart.
	User         string
	PasswordFile string // a line break at its end does not belong to the password
	CA           string // PEM; "" takes the system's authorities
	Cert, Key    string // PEM; the press's own certificate

	Window int     // events in flight, 1 (default) to 64
	Rate   float64 // most events in a second while a backlog drains; 0 no limit

	Keepalive      time.Duration // 30 s; at least 1 s
	AckTimeout     time.Duration // 30 s; a message not acknowledged by then ends the connection
	ConnectTimeout time.Duration // 10 s for the network, TLS and CONNACK, each
	Heartbeat      time.Duration // 1 min between two status messages

	// Waits between attempts are random, from nothing to a bound that doubles
	// from BackoffMin (1 s) to BackoffMax (60 s) while a broker answers but will
	// not have us. While nothing answers at all, and after a connection that
	// worked, the bound stays at 4 s: such attempts cost nobody anything, and
	// events should be there soon after the broker is.
	BackoffMin, BackoffMax time.Duration

	Log      *slog.Logger // nil takes the default
	OnChange func(State)  // called from Run when Connected, Reason or Stuck changed; nil none. It must not block
}

// address is where the broker listens.
type address struct {
	host string // without brackets
	port string
	tls  bool
}

func (a address) String() string { return net.JoinHostPort(a.host, a.port) }

// checked is the settings with their defaults, and the broker's address, or all
// that is wrong with them.
func (s Settings) checked() (Settings, address, error) {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }

	broker, err := parseBroker(s.Broker)
	if err != nil {
		faults = append(faults, err)
	}
	if err := ValidBase(s.Base); err != nil {
		faults = append(faults, err)
	}
	if s.ClientID == "" || !utf8.ValidString(s.ClientID) || strings.ContainsFunc(s.ClientID, control) || len(s.ClientID) > 128 {
		fault("client id %.140q: want 1 to 128 bytes without control characters", s.ClientID)
	}
	if s.User == "" && s.PasswordFile != "" {
		fault("a password file without a user: name the user, or leave the file out")
	}
	if !utf8.ValidString(s.User) || strings.ContainsFunc(s.User, control) || len(s.User) > 1024 {
		fault("user %.40q: want at most 1,024 bytes without control characters", s.User)
	}
	if (s.Cert == "") != (s.Key == "") {
		fault("the press's certificate and its key go together: name both files or none")
	}
	if err == nil && !broker.tls && (s.CA != "" || s.Cert != "") {
		fault("certificates are named, but tcp:// does not use them: write ssl:// in the broker's address")
	}
	if s.Window == 0 {
		s.Window = 1
	}
	if s.Window < 1 || s.Window > 64 {
		fault("window %d: want 1 to 64 events in flight", s.Window)
	}
	if !(s.Rate == 0 || s.Rate >= 0.01 && s.Rate <= 1e6) { // not written as <, so that no NaN gets through
		fault("rate %v: want 0 for no limit, or 0.01 to 1,000,000 events in a second", s.Rate)
	}
	for _, d := range []struct {
		name           string
		value          *time.Duration
		otherwise, low time.Duration
	}{
		{"keepalive", &s.Keepalive, 30 * time.Second, time.Second},
		{"acknowledgement timeout", &s.AckTimeout, 30 * time.Second, time.Millisecond},
		{"connect timeout", &s.ConnectTimeout, 10 * time.Second, time.Millisecond},
		{"heartbeat", &s.Heartbeat, time.Minute, time.Millisecond},
		{"shortest back-off", &s.BackoffMin, time.Second, time.Millisecond},
		{"longest back-off", &s.BackoffMax, time.Minute, time.Millisecond},
	} {
		if *d.value == 0 {
			*d.value = d.otherwise
		}
		if *d.value < d.low || *d.value > 12*time.Hour { // the keepalive of MQTT has 16 bits of seconds
			fault("%s %v: want %v to 12 h", d.name, *d.value, d.low)
		}
	}
	if s.BackoffMin > s.BackoffMax {
		fault("the shortest back-off, %v, is longer than the longest, %v", s.BackoffMin, s.BackoffMax)
	}
	if len(faults) > 0 {
		return s, broker, fmt.Errorf("mqtt: %w", errors.Join(faults...))
	}
	return s, broker, nil
}

func control(r rune) bool { return r < ' ' || r >= 0x7f && r < 0xa0 }

// parseBroker reads a broker's address. It never repeats an address that may
// hold a password.
func parseBroker(s string) (address, error) {
	const want = "want tcp://host:1883 or ssl://host:8883"
	if strings.Contains(s, "@") {
		return address{}, errors.New("broker: a user or password does not belong in the address: use the keys made for them")
	}
	u, err := url.Parse(s)
	if err != nil {
		return address{}, fmt.Errorf("broker %.140q: %s", s, want)
	}
	a := address{host: u.Hostname(), port: u.Port()}
	switch u.Scheme {
	case "tcp", "mqtt":
		if a.port == "" {
			a.port = "1883"
		}
	case "ssl", "tls", "mqtts":
		a.tls = true
		if a.port == "" {
			a.port = "8883"
		}
	default:
		return address{}, fmt.Errorf("broker %.140q: %s", s, want)
	}
	if a.host == "" || u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.Fragment != "" {
		return address{}, fmt.Errorf("broker %.140q: %s", s, want)
	}
	if _, err := net.LookupPort("tcp", a.port); err != nil || a.port == "0" {
		return address{}, fmt.Errorf("broker %.140q: the port must be 1 to 65535", s)
	}
	return a, nil
}

// Plain reports whether passwords and records go to another machine without
// TLS.
func (s Settings) Plain() bool {
	a, err := parseBroker(s.Broker)
	if err != nil || a.tls || a.host == "localhost" {
		return false
	}
	ip := net.ParseIP(a.host)
	return ip == nil || !ip.IsLoopback()
}
