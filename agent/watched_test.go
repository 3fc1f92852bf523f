package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// watchedPace is how long the page rests between two measured changes. A hand
// needs longer from place to place, and a page that is drawn at most each 50 ms
// must not be measured while it waits for the change before.
const watchedPace = 120 * time.Millisecond

// BenchmarkReadingToPage is a reading's way to the page that shows it: from the
// bench's intake until the last of the pages that watch has read the changed part
// from its connection. hammered: another client loads pages and sends wrong forms
// without a pause meanwhile. floor is what no program can do without: as much
// written and synced to a file, and one event of that size to one watcher.
func BenchmarkReadingToPage(b *testing.B) {
	for _, watchers := range []int{1, 50} {
		for _, hammered := range []bool{false, true} {
			b.Run(fmt.Sprintf("watchers=%d/hammered=%t", watchers, hammered), func(b *testing.B) {
				p := watchedPress(b)
				for range watchers {
					p.watch()
				}
				if hammered {
					p.hammer()
				}
				measureWays(b, p.show, p.takeBack)
			})
		}
	}
	b.Run("floor", benchmarkPageFloor)
}

// BenchmarkKeptWhileWatched is how soon what the caliper and the switch say is kept
// durably, from the bench's intake on, beside no page and beside 50 that watch and
// a client that loads pages and sends wrong forms without a pause.
func BenchmarkKeptWhileWatched(b *testing.B) {
	for _, watchers := range []int{0, 50} {
		for _, kind := range []record.Kind{record.Reading, record.Stroke} {
			b.Run(fmt.Sprintf("%s/watchers=%d", kind, watchers), func(b *testing.B) {
				p := watchedPress(b)
				for range watchers {
					p.watch()
				}
				if watchers > 0 {
					p.hammer()
				}
				if kind == record.Reading {
					measureWays(b, p.read, func() { p.shown("2"); p.takeBack() })
				} else {
					measureWays(b, p.crimp, func() { p.do(station.Action{At: time.Now(), Do: station.DoDry}) })
				}
			})
		}
	}
}

// measureWays measures one way after the other, each from where back has led, and
// reports median and 99th percentile.
func measureWays(b *testing.B, way, back func()) {
	var took []time.Duration
	for b.Loop() {
		began := time.Now()
		way()
		took = append(took, time.Since(began))
		b.StopTimer()
		back()
		time.Sleep(watchedPace)
		b.StartTimer()
	}
	slices.Sort(took)
	ms := func(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
	b.ReportMetric(ms(took[len(took)/2]), "p50-ms")
	b.ReportMetric(ms(took[len(took)*99/100]), "p99-ms")
}

// watched is an agent that runs with a crimp in work and pages that watch it.
type watched struct {
	b     *testing.B
	a     *agent
	ctx   context.Context
	page  string
	calls []<-chan string    // the call of each page, whenever it changes
	kept  <-chan record.Kind // of readings and strokes
}

// watchedPress is a press of which the first crimp waits for its first reading.
func watchedPress(b *testing.B) *watched {
	b.Helper()
	_, file := shop(b, "[page]\nlisten = \"127.0.0.1:0\"\n")
	cfg, err := loadConfig(file)
	if err != nil {
		b.Fatal(err)
	}
	a, err := newAgent(cfg, time.Now)
	if err != nil {
		b.Fatal(err)
	}
	logTo(io.Discard)
	address := make(chan string, 1)
	a.onPage = func(at string) { address <- at }
	kept := make(chan record.Kind, 16)
	a.told = func(records []record.Record) {
		for i := range records {
			if kind := records[i].Kind; kind == record.Reading || kind == record.Stroke {
				select {
				case kept <- kind:
				default: // nobody asks
				}
			}
		}
	}
	ctx, cancel := context.WithCancel(b.Context())
	done := make(chan error, 1)
	go func() { done <- a.run(ctx, func(ctx context.Context) error { <-ctx.Done(); return nil }) }()
	b.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			b.Errorf("run: %v", err)
		}
	})
	p := &watched{b: b, a: a, ctx: ctx, page: "http://" + <-address, kept: kept}
	setting := 120
	p.do(station.Action{At: time.Now(), Do: station.DoStart, Order: "A-1001", Spec: "hs-08", Setting: &setting})
	p.crimp()
	return p
}

// crimp closes the press and waits until that is kept.
func (p *watched) crimp() {
	p.a.bench.put(p.ctx, station.Stroke{At: time.Now(), Held: time.Second})
	p.keeps(record.Stroke)
}

// read sends a reading and waits until it is kept.
func (p *watched) read() {
	p.a.bench.put(p.ctx, station.Reading{At: time.Now(), Value: 1200 * crimp.Thousandth, Raw: "+1.2000"})
	p.keeps(record.Reading)
}

func (p *watched) keeps(kind record.Kind) {
	p.b.Helper()
	for {
		select {
		case got := <-p.kept:
			if got == kind {
				return
			}
		case <-time.After(10 * time.Second):
			p.b.Fatalf("no %s is kept", kind)
		}
	}
}

func (p *watched) do(action station.Action) {
	p.b.Helper()
	if _, err := p.a.act(p.ctx, action); err != nil {
		p.b.Fatal(err)
	}
}

// watch opens a page's stream of events and waits until it shows the crimp.
func (p *watched) watch() {
	p.b.Helper()
	request, err := http.NewRequestWithContext(p.ctx, http.MethodGet, p.page+"/events?lang=en", http.NoBody)
	if err != nil {
		p.b.Fatal(err)
	}
	got, err := http.DefaultTransport.RoundTrip(request)
	if err != nil {
		p.b.Fatal(err)
	}
	if got.StatusCode != http.StatusOK {
		p.b.Fatalf("watching gives %s", got.Status)
	}
	calls := make(chan string, 16)
	go func() {
		defer close(calls)
		defer func() { _ = got.Body.Close() }() // it was read to its end
		shown := ""
		for lines := bufio.NewScanner(got.Body); lines.Scan(); {
			_, call, found := strings.Cut(lines.Text(), "Measure place ")
			if found && call[:1] != shown {
				shown = call[:1]
				calls <- shown
			}
		}
	}()
	p.calls = append(p.calls, calls)
	p.wait(calls, "1")
}

// wait waits until a page asks for a place.
func (p *watched) wait(calls <-chan string, place string) {
	p.b.Helper()
	for {
		select {
		case call, open := <-calls:
			if !open {
				p.b.Fatal("a page was dropped")
			}
			if call == place {
				return
			}
		case <-time.After(10 * time.Second):
			p.b.Fatalf("no page asks for place %s", place)
		}
	}
}

// show sends the first reading and waits until all pages show it.
func (p *watched) show() {
	p.read()
	p.shown("2")
}

// shown waits until all pages ask for a place.
func (p *watched) shown(place string) {
	p.b.Helper()
	for _, calls := range p.calls {
		p.wait(calls, place)
	}
}

// takeBack takes the reading back and waits until all pages show that.
func (p *watched) takeBack() {
	p.do(station.Action{At: time.Now(), Do: station.DoUndo})
	p.shown("1")
}

// hammer loads pages and sends wrong forms until the benchmark ends.
func (p *watched) hammer() {
	go func() {
		for p.ctx.Err() == nil {
			for _, ask := range []func() (*http.Response, error){
				func() (*http.Response, error) { return http.Get(p.page) },
				func() (*http.Response, error) {
					return http.PostForm(p.page+"/do", url.Values{"do": {"dance"}})
				},
			} {
				got, err := ask()
				if err != nil {
					return // the agent is gone, at the benchmark's end
				}
				_, _ = io.Copy(io.Discard, got.Body) // it is only a load
				_ = got.Body.Close()
			}
		}
	}()
}

// What the floor writes: about as much as the record of a reading, and the part of
// the page that changes with it, in bytes.
const (
	floorRecord = 200
	floorEvent  = 4 << 10
)

func benchmarkPageFloor(b *testing.B) {
	file, err := os.Create(filepath.Join(b.TempDir(), "floor"))
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	change, seen := make(chan struct{}), make(chan struct{})
	event := append(bytes.Repeat([]byte("x"), floorEvent-1), '\n')
	go func() {
		_ = http.Serve(l, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { //nolint:gosec // one client of its own
			_ = http.NewResponseController(w).Flush() // so that the client has its answer
			for {
				select {
				case <-r.Context().Done():
					return
				case <-change:
				}
				_, _ = w.Write(event)
				_ = http.NewResponseController(w).Flush()
			}
		})) // until l is closed
	}()
	got, err := http.Get("http://" + l.Addr().String())
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = got.Body.Close() }()
	go func() {
		for lines := bufio.NewReaderSize(got.Body, 2*floorEvent); ; {
			if _, err := lines.ReadSlice('\n'); err != nil {
				return
			}
			seen <- struct{}{}
		}
	}()
	record := make([]byte, floorRecord)
	measureWays(b, func() {
		if _, err := file.Write(record); err != nil {
			b.Fatal(err)
		}
		if err := file.Sync(); err != nil {
			b.Fatal(err)
		}
		change <- struct{}{}
		<-seen
	}, func() {})
}
