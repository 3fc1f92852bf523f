package main

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"benchtally/agent/record"
	"benchtally/mqtt"
	"benchtally/mqtt/broker"
	"benchtally/store"
)

// press is a real store with the real publisher before it.
type press struct {
	store   *store.Store
	path    string
	publish *mqtt.Publisher
	stop    func()
}

// newPress begins a press on a new card, or goes on with the card at path.
func newPress(t testing.TB, addr, base, path string) *press {
	t.Helper()
	p := &press{path: path}
	if path == "" {
		p.path = filepath.Join(t.TempDir(), "benchtally.db")
	}
	var err error
	if p.store, err = store.Open(p.path, store.Options{}); err != nil {
		t.Fatal(err)
	}
	p.publish, err = mqtt.New(mqtt.Settings{
		Access: broker.Access{Address: "tcp://" + addr}, Base: base, ClientID: filepath.Base(base), Window: 16,
		BackoffMin: time.Millisecond, BackoffMax: 50 * time.Millisecond, Log: slog.New(slog.DiscardHandler),
	}, p.store)
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { _ = p.publish.Run(ctx) })
	p.stop = sync.OnceFunc(func() {
		end()
		running.Wait()
		if err := p.store.Close(); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(p.stop)
	return p
}

// add keeps n strokes more.
func (p *press) add(t testing.TB, n int) {
	t.Helper()
	for ; n > 0; n -= 100 {
		var b store.Batch
		for range min(n, 100) {
			b.Records = append(b.Records, record.Record{
				Seq: p.store.Last() + uint64(len(b.Records)) + 1, At: record.Stamp(time.Now()), Kind: record.Stroke, Cage: "C-21",
			})
		}
		if err := p.store.Append(b); err != nil {
			t.Fatal(err)
		}
		p.publish.Wake()
	}
}

// drain waits until the broker has acknowledged all.
func (p *press) drain(t testing.TB) {
	t.Helper()
	ctx, end := context.WithTimeout(t.Context(), time.Minute)
	defer end()
	if err := p.publish.Drain(ctx); err != nil {
		t.Fatal(err)
	}
}

// ids are those of all events of a store, as they are to be in the database.
func (p *press) ids(t testing.TB) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	if err := p.store.Resend(1, p.store.Last()); err != nil { // the only way to see what was sent
		t.Fatal(err)
	}
	for {
		events, err := p.store.Resends(1000)
		if err != nil {
			t.Fatal(err)
		}
		if len(events) == 0 {
			return all
		}
		for _, e := range events {
			all[e.ID] = true
		}
		if err := p.store.Resent(events[len(events)-1].Seq); err != nil {
			t.Fatal(err)
		}
	}
}

// collecting is a collector under test, in this process.
type collecting struct {
	*collector
	stop func()
	out  *printed
	logs *printed
}

// printed is what a program prints, for several goroutines.
type printed struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (p *printed) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.b.Write(b)
}

func (p *printed) String() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.b.String()
}

// collect runs a collector of all presses; change may be nil.
func collect(t testing.TB, addr, database string, change func(*collector)) *collecting {
	t.Helper()
	c := &collecting{out: &printed{}, logs: &printed{}}
	config, err := pgx.ParseConfig(database)
	if err != nil {
		t.Fatal(err)
	}
	config.ConnectTimeout = 5 * time.Second
	c.collector = &collector{
		broker: "tcp://" + addr, client: "collector", filter: "riverside/hose-shop/+", database: config,
		look: time.Hour, older: time.Second, again: time.Hour, retryMin: 10 * time.Millisecond, retryMax: 100 * time.Millisecond,
		log: slog.New(slog.NewTextHandler(c.logs, nil)), out: c.out,
	}
	if change != nil {
		change(c.collector)
	}
	ctx, end := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { c.collect(ctx) })
	c.stop = sync.OnceFunc(func() { end(); running.Wait() })
	t.Cleanup(c.stop)
	return c
}

// between lets a collector reach a broker, and can hold back what the collector
// says to it.
type between struct {
	addr  string
	muted atomic.Bool  // what the collector says goes nowhere
	acks  atomic.Int32 // PUBACKs that went through, or more
}

func newBetween(t testing.TB, to string) *between {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	b := &between{addr: l.Addr().String()}
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			if err != nil {
				_ = near.Close()
				continue
			}
			go func() {
				_, _ = io.Copy(near, far)
				_ = near.Close()
			}()
			go func() {
				_, _ = io.Copy(hush{far, b}, near)
				_ = far.Close()
			}()
		}
	}()
	return b
}

// hush drops what is written while it is to be mute.
type hush struct {
	io.Writer
	b *between
}

func (h hush) Write(p []byte) (int, error) {
	if h.b.muted.Load() {
		return len(p), nil
	}
	n, err := h.Writer.Write(p)
	h.b.acks.Add(int32(bytes.Count(p, []byte{0x40, 0x02}))) //nolint:gosec // a few
	return n, err
}
