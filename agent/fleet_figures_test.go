package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sync/errgroup"
)

// patience is how long a condition may take on the slowest machine; nothing is
// judged by it.
const patience = 5 * time.Minute

// waitFor waits for a condition.
func waitFor(t *testing.T, what string, met func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !met(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited %v for %s", patience, what)
		}
	}
}

// figures is a table of what was measured, row by row.
type figures struct{ rows [][2]string }

func (f *figures) add(name, format string, args ...any) {
	f.rows = append(f.rows, [2]string{name, fmt.Sprintf(format, args...)})
}

func (f *figures) String() string {
	var b strings.Builder
	b.WriteString("\n| measure | figure |\n|---|---|\n")
	for _, r := range f.rows {
		fmt.Fprintf(&b, "| %s | %s |\n", r[0], r[1])
	}
	return b.String()
}

// spans are durations; their String is what half and nearly all of them stay below.
type spans []time.Duration

func (s spans) String() string {
	if len(s) == 0 {
		return "none"
	}
	slices.Sort(s)
	return fmt.Sprintf("%v, %v, %v", short(s[len(s)/2]), short(s[len(s)*99/100]), short(s[len(s)-1]))
}

func short(d time.Duration) time.Duration {
	if d < 100*time.Millisecond {
		return d.Round(10 * time.Microsecond)
	}
	return d.Round(10 * time.Millisecond)
}

// between are the times within from and to.
func between(times []time.Time, from, to time.Time) (within []time.Time) {
	for _, t := range times {
		if !t.Before(from) && t.Before(to) {
			within = append(within, t)
		}
	}
	return within
}

// busiest is how many of them lie in the second that has most of them.
func busiest(times []time.Time, from, to time.Time) int {
	within := between(times, from, to)
	slices.SortFunc(within, time.Time.Compare)
	most, first := 0, 0
	for i, t := range within {
		for t.Sub(within[first]) >= time.Second {
			first++
		}
		most = max(most, i-first+1)
	}
	return most
}

// bySecond counts them in each whole second after from.
func bySecond(times []time.Time, from, to time.Time) (counts []int) {
	for _, t := range between(times, from, to) {
		n := int(t.Sub(from) / time.Second)
		for len(counts) <= n {
			counts = append(counts, 0)
		}
		counts[n]++
	}
	return counts
}

// steepest is the most that a counter grew within a second.
func steepest(counts []uint64, times []time.Time) (most uint64) {
	first := 0
	for i := range counts {
		for times[i].Sub(times[first]) > time.Second {
			first++
		}
		most = max(most, counts[i]-counts[first])
	}
	return most
}

// fleetLog is the log of a fleet: it counts what the publishers do, and keeps what
// a person would have to mend.
type fleetLog struct {
	mu        sync.Mutex
	attempts  []time.Time // connections that were not made, or ended
	connected []time.Time
	warnings  map[string]int
	errors    []string
}

// Enabled takes all: attempts are told at the debug level.
func (l *fleetLog) Enabled(context.Context, slog.Level) bool { return true }

// Handle counts.
func (l *fleetLog) Handle(_ context.Context, r slog.Record) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case r.Level >= slog.LevelError:
		var facts strings.Builder
		r.Attrs(func(a slog.Attr) bool {
			fmt.Fprintf(&facts, " %s", a)
			return true
		})
		l.errors = append(l.errors, r.Message+facts.String())
	case r.Level >= slog.LevelWarn:
		l.warnings[r.Message]++
	case r.Message == "attempt ended":
		l.attempts = append(l.attempts, r.Time)
	case r.Message == "broker connected":
		l.connected = append(l.connected, r.Time)
	}
	return nil
}

// WithAttrs and WithGroup change nothing: what is counted has neither.
func (l *fleetLog) WithAttrs([]slog.Attr) slog.Handler { return l }

// WithGroup is like WithAttrs.
func (l *fleetLog) WithGroup(string) slog.Handler { return l }

func (l *fleetLog) times() (attempts, connected []time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.attempts), slices.Clone(l.connected)
}

// barePublish is what the client library and the broker do without us: so many
// connections, on each one message in flight at QoS 1, as fast as it goes. It
// returns how many were acknowledged and how long each took.
func barePublish(b *plantBroker, connections, size int, while time.Duration) (begun time.Time, spent time.Duration, took spans, err error) {
	clients := make([]paho.Client, connections)
	var connecting errgroup.Group
	connecting.SetLimit(16)
	for i := range clients {
		o := paho.NewClientOptions().AddBroker("tcp://" + b.address).SetClientID(fmt.Sprintf("bare-%d", i)).
			SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return b.dial() }).SetAutoReconnect(false).SetOrderMatters(true)
		clients[i] = paho.NewClient(o)
		connecting.Go(func() error {
			token := clients[i].Connect()
			token.Wait()
			return token.Error()
		})
	}
	if err := connecting.Wait(); err != nil {
		return begun, 0, nil, err
	}
	payload := []byte(strings.Repeat("x", size))
	begun = time.Now()
	var publishing errgroup.Group
	var mu sync.Mutex
	for _, c := range clients {
		publishing.Go(func() error {
			var own spans
			for time.Since(begun) < while {
				sent := time.Now()
				token := c.Publish(bareTopic, 1, false, payload)
				if token.Wait(); token.Error() != nil {
					return token.Error()
				}
				own = append(own, time.Since(sent))
			}
			mu.Lock()
			took = append(took, own...)
			mu.Unlock()
			return nil
		})
	}
	err = publishing.Wait()
	spent = time.Since(begun)
	var leaving sync.WaitGroup
	for _, c := range clients {
		leaving.Go(func() { c.Disconnect(100) })
	}
	leaving.Wait()
	return begun, spent, took, err
}
