package mqtt

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"
	"unicode/utf8"

	"benchtally/mqtt/broker"
)

// Settings say where to publish and how. Zero durations and Window take their
// defaults.
type Settings struct {
	broker.Access

	Base     string // <topic>/<name> of the press; see ValidBase
	ClientID string // unlike that of any other client of the broker

	Former    []string // bases that the press had before, whose retained topics are to be cleared
	OnCleared func()   // called from Run once they are; nil none. It must not block

	Window int     // events in flight, 1 (default) to 64
	Rate   float64 // most events in a second while a backlog drains; 0 no limit

	Keepalive  time.Duration // 30 s; at least 1 s
	AckTimeout time.Duration // 30 s; a message not acknowledged by then ends the connection
	Heartbeat  time.Duration // 1 min between two status messages

	// Waits between attempts: broker.Retry. 1 s and 60 s.
	BackoffMin, BackoffMax time.Duration

	// ClockState is "unset" while nothing keeps the clock right, else "": the status
	// says so. nil is always ""; it is called from Run.
	ClockState func() string

	Log      *slog.Logger // nil takes the default
	OnTurn   func()       // called from Run in each turn of its work, at least once a Heartbeat or BackoffMax; nil none. It must not block
	OnChange func(State)  // called from Run when Connected, Reason or Stuck changed; nil none. It must not block
}

// checked is the settings with their defaults, and the way to the broker, or all
// that is wrong with them.
func (s Settings) checked() (Settings, *broker.Broker, error) {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }

	way, err := broker.New(s.Access)
	if err != nil {
		faults = append(faults, err)
	}
	if err := ValidBase(s.Base); err != nil {
		faults = append(faults, err)
	}
	for _, base := range s.Former {
		if err := ValidBase(base); err != nil {
			faults = append(faults, err)
		} else if base == s.Base {
			fault("the base %s is not a former one", base)
		}
	}
	if s.ClientID == "" || !utf8.ValidString(s.ClientID) || strings.ContainsFunc(s.ClientID, broker.Control) || len(s.ClientID) > 128 {
		fault("client id %.140q: want 1 to 128 bytes without control characters", s.ClientID)
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
		return s, nil, fmt.Errorf("mqtt: %w", errors.Join(faults...))
	}
	return s, way, nil
}
