package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"benchtally/agent/record"
	"benchtally/store"
)

// fleetPress is one press of a fleet: the agent as `run --inputs -` joins it, with
// its store on disk, and a belt in the place of standard input.
type fleetPress struct {
	name, source, config string
	path                 string // of the store
	agent                *agent
	done                 chan error
	working              bool
	cuts                 []uint64 // where its sent cursor stood whenever a connection was cut or given up on purpose

	mu   sync.Mutex
	belt *belt
	kept []time.Time // when the record with the seq of the index plus one was kept
}

// newFleetPress writes the configuration of a press into a folder of its own.
func newFleetPress(t *testing.T, dir string, n int, mqtt string) *fleetPress {
	t.Helper()
	p := &fleetPress{name: fmt.Sprintf("bench-%04d", n)}
	p.source = "/riverside/hose-shop/" + p.name
	folder := filepath.Join(dir, p.name)
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	p.config, p.path = filepath.Join(folder, "bench.toml"), filepath.Join(folder, "bench.db")
	base, err := os.ReadFile(filepath.Join(shifts, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, p.config, merge(string(base), fmt.Sprintf("[press]\nname = %q\ntopic = \"riverside/hose-shop\"\n%s[[specs]]\nfile = \"../specs.csv\"\n", p.name, mqtt)))
	return p
}

// open makes the agent, with all that needs no broker.
func (p *fleetPress) open() error {
	cfg, err := loadConfig(p.config)
	if err != nil {
		return err
	}
	if p.agent, err = newAgent(cfg, time.Now); err != nil {
		return fmt.Errorf("%s: %w", p.name, err)
	}
	p.agent.told = p.keep
	return nil
}

// work runs the agent until the press is ended.
func (p *fleetPress) work() {
	b, a := newBelt(), p.agent
	p.mu.Lock()
	p.belt = b
	p.mu.Unlock()
	p.done, p.working = make(chan error, 1), true
	go func() {
		p.done <- a.run(context.Background(), func(ctx context.Context) error { return feed(ctx, b, a.cfg, a.now, a.bench) })
	}()
}

// end ends the inputs and waits until the agent has left its broker and closed its
// store.
func (p *fleetPress) end() error {
	if !p.working {
		return nil
	}
	p.working = false
	p.mu.Lock()
	p.belt.end()
	p.belt = nil
	p.mu.Unlock()
	if err := <-p.done; err != nil {
		return fmt.Errorf("%s: %w", p.name, err)
	}
	return nil
}

// again is the agent started anew on its store.
func (p *fleetPress) again() error {
	if err := p.end(); err != nil {
		return err
	}
	if err := p.open(); err != nil {
		return err
	}
	p.cuts = append(p.cuts, p.agent.store.SentSeq())
	p.work()
	return nil
}

// say lays a tape line onto the belt. While the agent does not run, nobody is at
// the press.
func (p *fleetPress) say(line string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.belt != nil {
		p.belt.say(line)
	}
}

func (p *fleetPress) keep(records []record.Record) {
	now := time.Now()
	p.mu.Lock()
	defer p.mu.Unlock()
	for range records {
		p.kept = append(p.kept, now)
	}
}

func (p *fleetPress) waiting() uint64 { return p.agent.store.Last() - p.agent.store.SentSeq() }

// settled says that nothing waits for the broker, and that nothing will be recorded
// without an input: a fault of the broker is recorded a moment after it ended.
func (p *fleetPress) settled() bool {
	_, fault := p.agent.health.seen().Faults[record.Broker]
	return p.waiting() == 0 && !fault && p.agent.publisher.State().Connected
}

// wanted calls one for each event of the press, as its store gives them to be sent
// again. The agent must not run.
func (p *fleetPress) wanted(one func(record.Event) error) (err error) {
	kept, err := store.Open(p.path, store.Options{})
	if err != nil {
		return err
	}
	defer func() {
		if e := kept.Close(); err == nil {
			err = e
		}
	}()
	if kept.SentSeq() != kept.Last() {
		return fmt.Errorf("%d events, sent up to %d", kept.Last(), kept.SentSeq())
	}
	if err := kept.Resend(1, kept.Last()); err != nil {
		return err
	}
	for seq := uint64(0); ; {
		events, err := kept.Resends(512)
		if err != nil {
			return err
		}
		if len(events) == 0 {
			if seq != kept.Last() {
				return fmt.Errorf("the store gives %d of %d events", seq, kept.Last())
			}
			return nil
		}
		for _, e := range events {
			if seq++; e.Seq != seq {
				return fmt.Errorf("the store gives event %d, want %d", e.Seq, seq)
			}
			if err := one(e); err != nil {
				return err
			}
		}
		if err := kept.Resent(seq); err != nil {
			return err
		}
	}
}

// belt carries tape lines to who reads them. Laying one on never waits.
type belt struct {
	mu    sync.Mutex
	more  *sync.Cond
	lines []byte
	ended bool
}

func newBelt() *belt {
	b := &belt{}
	b.more = sync.NewCond(&b.mu)
	return b
}

func (b *belt) say(line string) {
	b.mu.Lock()
	b.lines = append(append(b.lines, line...), '\n')
	b.mu.Unlock()
	b.more.Signal()
}

func (b *belt) end() {
	b.mu.Lock()
	b.ended = true
	b.mu.Unlock()
	b.more.Signal()
}

// Read waits for a line.
func (b *belt) Read(to []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for len(b.lines) == 0 {
		if b.ended {
			return 0, io.EOF
		}
		b.more.Wait()
	}
	n := copy(to, b.lines)
	b.lines = append(b.lines[:0], b.lines[n:]...)
	return n, nil
}
