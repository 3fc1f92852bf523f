package main

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"runtime"
	"strings"
	"time"

	"benchtally/agent/panel"
	"benchtally/agent/station"
	"benchtally/store"
)

// yearTable is what was measured at shares of the year.
type yearTable struct {
	names []string
	cells map[string][]string
	notes []string
}

func (f *yearTable) add(name, format string, args ...any) {
	if f.cells == nil {
		f.cells = map[string][]string{}
	}
	if _, known := f.cells[name]; !known {
		f.names = append(f.names, name)
	}
	f.cells[name] = append(f.cells[name], fmt.Sprintf(format, args...))
}

func (f *yearTable) note(format string, args ...any) {
	f.notes = append(f.notes, fmt.Sprintf(format, args...))
}

func (f *yearTable) String() string {
	var b strings.Builder
	b.WriteString("\n")
	for i, name := range f.names {
		fmt.Fprintf(&b, "| %s | %s |\n", name, strings.Join(f.cells[name], " | "))
		if i == 0 {
			b.WriteString("|---|" + strings.Repeat("---|", len(f.cells[name])) + "\n")
		}
	}
	b.WriteString(strings.Join(f.notes, "\n"))
	return b.String()
}

// anonymous is the process's anonymous memory, bytes; 0 where nobody tells.
func anonymous() (n int64) {
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(b), "RssAnon:")
	_, _ = fmt.Sscan(rest, &n)
	return n << 10
}

// measure measures what may grow, at a share of the year. The agent does not run.
func (y *year) measure(share int, took time.Duration) {
	t := y.t
	t.Helper()
	f := &y.table
	c := y.count
	f.add("share of the year, %", "%d", share)
	info, err := os.Stat(y.store)
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	kept, err := store.Open(y.store, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	opened := time.Since(began)
	state, folded, err := kept.State()
	if err != nil {
		t.Fatal(err)
	}
	last := kept.Last()
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}
	report, err := store.Verify(y.store)
	if err != nil {
		t.Fatal(err)
	}
	f.add("crimps", "%d", c.crimps)
	f.add("records ever, kept", "%d, %d", last, report.Records)
	f.add("orders, kept beside the state", "%d, %d", len(c.orders), report.Orders)
	f.add("took so far, s", "%.0f", took.Seconds())
	f.add("store file, MB", "%.1f", float64(info.Size())/1e6)
	f.add("bytes a record", "%.0f", float64(info.Size())/float64(max(1, report.Records)))
	f.add("state, bytes", "%d", len(state))
	f.add("records folded at a start", "%d", last-folded)
	f.add("store opened, ms", "%.1f", opened.Seconds()*1e3)

	began = time.Now()
	y.open()
	f.add("agent started, ms", "%.1f", time.Since(began).Seconds()*1e3)
	address := <-y.page
	y.sent()
	a := y.hands.a
	get := func(path string) time.Duration {
		began := time.Now()
		answer, err := http.Get("http://" + address + path)
		if err != nil {
			t.Fatal(err)
		}
		n, err := io.Copy(io.Discard, answer.Body)
		if err != nil || answer.StatusCode != http.StatusOK || n == 0 {
			t.Errorf("GET %s: %s, %v", path, answer.Status, err)
		}
		_ = answer.Body.Close() // it was read
		return time.Since(began)
	}
	get("/")
	f.add("page, ms", "%.1f", get("/").Seconds()*1e3)
	began = time.Now()
	a.health.publish()
	f.add("snapshot shown, ms", "%.2f", time.Since(began).Seconds()*1e3)

	read := func(what string, lie []station.Extent, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		n := uint64(0)
		for _, e := range lie {
			n += min(e.To, last) + 1 - min(max(e.From, 1), last+1)
		}
		f.add("records read for "+what, "%d", n)
		// A day's records, or those of an order of a day or two, are all that is read.
		if k := len(y.firsts); k > 4 && n > last+1-y.firsts[k-2]+512 {
			t.Errorf("at %d %% %d of %d records are read for %s, more than those of two days", share, n, last, what)
		}
	}
	timed := func(name string, args ...string) {
		began := time.Now()
		n := 0
		y.lines(func([]byte) error { n++; return nil }, args...)
		f.add(name, "%.0f, %d lines", time.Since(began).Seconds()*1e3, n)
	}
	timed("log --since of the last day, ms", "log", "--config", y.config, "--since", y.hands.at.Add(-24*time.Hour).Format(time.RFC3339))
	lie, err := selection{since: y.hands.at.Add(-24 * time.Hour)}.extents(a.store)
	read("the last day", lie, err)
	n := len(c.orders) / 20
	for c.orders[n].visits != 1 { // others take as long as they took
		n++
	}
	old := c.id(n)
	lie, err = selection{order: old}.extents(a.store)
	read("an old order", lie, err)
	pages, err := station.PagesOf(&keeper{Store: a.store}, old)
	read("its certificate", []station.Extent{pages.Order, pages.Latest}, err)
	timed("log --order of an old order, ms", "log", "--config", y.config, "--order", old)
	p := papers{archive: archive{a.store, stationRules(a.cfg)}, cfg: a.cfg, jobs: a.jobs, view: a.health.seen, now: a.now}
	for _, kind := range []string{"certificate", "handover"} {
		began := time.Now()
		id := map[string]string{"certificate": old}[kind]
		_, err := p.paper(panel.PaperRequest{Kind: kind, ID: id})
		if err != nil && y.size.keep == 0 {
			t.Error(err)
		}
		f.add(kind+", ms", "%.0f", time.Since(began).Seconds()*1e3)
	}
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	f.add("heap in use, anonymous, MB", "%.1f, %.1f", float64(m.HeapAlloc)/1e6, float64(anonymous())/1e6)
	f.add("goroutines", "%d", runtime.NumGoroutine())
	y.close()

	// Structural bounds, whatever the machine: nothing of these grows with the year.
	if len(state) > 48<<10 {
		t.Errorf("at %d %% the state has %d bytes", share, len(state))
	}
	if y.size.keep > 0 && share == 100 && report.Records*2 > last {
		t.Errorf("%d of %d records are kept, want those of %d days of a year", report.Records, last, y.size.keep)
	}
	if last-folded > 2*256+benchBatch*8 {
		t.Errorf("at %d %% a start folds %d records", share, last-folded)
	}
}
