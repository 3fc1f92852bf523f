package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"benchtally/agent/rehearsal"
)

var (
	yearCrimps  = flag.Int("crimps", 3000, "TestYear: how many crimps the year has; 2,700 or so are a day's")
	yearKeep    = flag.Int("keep", 0, "TestYear: [store] keep, days; 0: all records stay")
	yearPublish = flag.Bool("publish", true, "TestYear: publish to a broker in the process")
)

// A year of the rehearsed shop: from the last days of August 2027 on, with
// 29 February 2028, both changes of the clocks of Berlin and all ends of months.
const (
	yearDays   = 371
	yearPerDay = 2700 // crimps, two busy shifts
)

// yearCalendar is on which days is worked: spread over the year, the special ones
// among them.
func yearCalendar(zone *time.Location, days int) []time.Time {
	first := time.Date(2027, 8, 30, 0, 0, 0, 0, zone)
	var all []time.Time
	for d := range yearDays {
		all = append(all, first.AddDate(0, 0, d))
	}
	if days >= len(all) {
		return all
	}
	special := []string{"2027-08-31", "2027-10-31", "2028-02-29", "2028-03-26", "2028-08-31"}
	var chosen []time.Time
	for i, d := range all {
		even := i*days/len(all) != (i+1)*days/len(all)
		if even || slices.Contains(special, d.Format(time.DateOnly)) {
			chosen = append(chosen, d)
		}
	}
	return chosen
}

// yearSize is how large a year is rehearsed.
type yearSize struct {
	crimps  int
	keep    int // [store] keep, days; 0: all
	publish bool
}

// year is one rehearsed year: a shop, the hands in it, and the agent as it is
// today.
type year struct {
	t      *testing.T
	size   yearSize
	firsts []uint64 // seq of each day's first record
	dir    string
	config string
	store  string
	plant  *rehearsal.Broker // nil: nothing is published
	heard  *yearEar
	hands  *yearHands
	count  *yearCount
	rnd    *rand.Rand
	page   chan string
	leave  chan struct{} // closed in the evening
	gone   chan error
	killed int
	table  yearTable
}

// TestYear works a year of shifts through the whole agent, in a time of its own and
// as fast as it goes: orders with and without job cards, loads, mishaps, care,
// faults, restarts each evening, some of them behind a power cut, resends. In the
// end what status, log, papers and the broker say is compared with what the hands
// counted themselves; on the way, what may grow is measured. See DEVELOPERS.md.
func TestYear(t *testing.T) {
	rehearse(t, yearSize{*yearCrimps, *yearKeep, *yearPublish})
}

// TestYearKept is a small year in a shop that keeps records for two months: what is
// older goes, and old orders go on counting all the same.
func TestYearKept(t *testing.T) {
	rehearse(t, yearSize{crimps: 1500, keep: 60, publish: true})
}

func rehearse(t *testing.T, size yearSize) {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	local, logger := time.Local, slog.Default()
	time.Local = zone
	slog.SetDefault(slog.New(slog.DiscardHandler))
	t.Cleanup(func() { time.Local = local; slog.SetDefault(logger) })

	y := newYear(t, size)
	days := yearCalendar(zone, size.crimps/yearPerDay)
	perDay := size.crimps/len(days) + 1
	began := time.Now()
	marks := []int{1, 10, 50, 100}
	for i, day := range days {
		y.day(day, min(perDay, size.crimps-y.hands.made), i)
		for len(marks) > 0 && (i+1)*100 >= marks[0]*len(days) {
			if share := marks[0]; len(marks) == 1 || (i+2)*100 < marks[1]*len(days) {
				y.measure(share, time.Since(began))
			}
			marks = marks[1:]
		}
	}
	y.compare()
	if testing.Verbose() {
		t.Log(y.table.String())
	}
}

func newYear(t *testing.T, size yearSize) *year {
	t.Helper()
	y := &year{t: t, size: size, dir: t.TempDir(), count: newYearCount(size.crimps), rnd: rand.New(rand.NewPCG(2027, 8))}
	y.config, y.store = filepath.Join(y.dir, "bench.toml"), filepath.Join(y.dir, "bench.db")
	broker := ""
	if size.publish {
		plant, err := rehearsal.StartBroker("127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		if err := plant.Stop(); err != nil {
			t.Fatal(err)
		}
		y.heard = newYearEar(size.crimps * 7)
		plant.Hear(y.heard.hear)
		if err := plant.Start(); err != nil {
			t.Fatal(err)
		}
		y.plant, broker = plant, "tcp://"+plant.Addr()
		t.Cleanup(func() { _ = plant.Close() })
	}
	keep := ""
	if size.keep > 0 {
		keep = fmt.Sprintf("keep = \"%dd\"\n", size.keep)
	}
	write(t, y.config, fmt.Sprintf(`[press]
name = "north-bench"
[switch]
line = "GPIO17"
[caliper]
port = "/dev/caliper0"
[store]
path = "bench.db"
%s[mqtt]
broker = %q
window = 32
[page]
listen = "127.0.0.1:0"
[[specs]]
file = "specs.csv"
[[jobs]]
file = "jobs.csv"
[[standards]]
name = "ring-1"
value = "1.0000in"
`, keep, broker))
	var specs strings.Builder
	specs.WriteString("spec,cage,diameter,plus,minus,setting,recrimps,places\n")
	inch := func(l int) string { return fmt.Sprintf("%d.%04din", l/10000, l%10000) }
	for _, s := range yearSpecs {
		fmt.Fprintf(&specs, "%s,%s,%s,%s,%s,%d,%d,%d\n", s.id, s.cage, inch(s.target), inch(s.tolerance), inch(s.tolerance), s.setting, s.recrimps, s.places)
	}
	write(t, filepath.Join(y.dir, "specs.csv"), specs.String())
	y.hands = &yearHands{t: t, rnd: rand.New(rand.NewPCG(2028, 2)), count: y.count, order: -1}
	return y
}

// plan writes the job cards of the orders that come next.
func (y *year) plan() {
	var cards strings.Builder
	cards.WriteString("order,quantity,a_spec,reference,hose,a_fitting\n")
	next := len(y.count.orders)
	for n := next; n < next+1200; n++ {
		if o := plannedOrder(n); o.card {
			fmt.Fprintf(&cards, "J-%06d,%d,%s,loader %d,two-wire 8,swivel 8\n", n, o.quantity, yearSpecs[o.spec].id, n)
		}
	}
	write(y.t, filepath.Join(y.dir, "jobs.csv"), cards.String())
}

// open starts the agent.
func (y *year) open() {
	y.t.Helper()
	y.plan()
	cfg, err := loadConfig(y.config)
	if err != nil {
		y.t.Fatal(err)
	}
	a, err := newAgent(cfg, y.hands.clock)
	if err != nil {
		y.t.Fatal(err)
	}
	y.page, y.leave, y.gone = make(chan string, 1), make(chan struct{}), make(chan error, 1)
	a.onPage = func(address string) { y.page <- address }
	in, err := newIntake(cfg, y.hands.at, false)
	if err != nil {
		y.t.Fatal(err)
	}
	y.hands.a, y.hands.in = a, in
	leave, gone := y.leave, y.gone
	go func() {
		gone <- a.run(context.Background(), func(ctx context.Context) error {
			<-leave
			return nil
		})
	}()
}

// quiet waits until all that was done is kept.
func (y *year) quiet() {
	y.t.Helper()
	y.hands.wait(time.Second)
	y.hands.give(y.hands.in.end(y.hands.at))
	if _, err := y.hands.a.bench.ask(context.Background(), nil); err != nil {
		y.t.Fatal(err)
	}
}

// close ends the agent.
func (y *year) close() {
	y.t.Helper()
	close(y.leave)
	if err := <-y.gone; err != nil {
		y.t.Fatal(err)
	}
}

// sent waits until the broker has acknowledged everything.
func (y *year) sent() {
	y.t.Helper()
	if y.plant != nil {
		waitFor(y.t, "the broker to have all events", func() bool { return y.hands.a.store.SentSeq() == y.hands.a.store.Last() })
	}
}

// cut ends the agent as a power cut would: what its file holds now is what the
// next start finds. The broker must be off: nobody else writes meanwhile.
func (y *year) cut() {
	y.t.Helper()
	y.quiet()
	waitFor(y.t, "the publisher to be cut off", func() bool { return y.plant == nil || !y.hands.a.publisher.State().Connected })
	from, err := os.Open(y.store)
	if err != nil {
		y.t.Fatal(err)
	}
	to, err := os.Create(y.store + ".cut")
	if err != nil {
		y.t.Fatal(err)
	}
	if _, err := io.Copy(to, from); err != nil {
		y.t.Fatal(err)
	}
	if err := to.Close(); err != nil {
		y.t.Fatal(err)
	}
	_ = from.Close() // it was only read
	y.close()
	if err := os.Rename(y.store+".cut", y.store); err != nil {
		y.t.Fatal(err)
	}
	y.killed++
}

// day is one day's work, with its start in the morning and its end in the evening.
func (y *year) day(day time.Time, crimps, n int) {
	y.t.Helper()
	h := y.hands
	morning := day.Add(5*time.Hour + 30*time.Minute)
	if month := day.Format("01-02"); month == "10-31" || month == "03-26" {
		morning = day.Add(-2 * time.Hour) // the night in which the clocks change
	}
	if h.at.Before(morning) {
		h.at = morning
	}
	h.wait(0)
	y.open()
	y.firsts = append(y.firsts, h.a.store.Last()+1)
	h.zero()
	if day.Weekday() == time.Monday {
		h.ring()
	}
	h.operator("kj")
	if h.cage == "" {
		h.load("C-21")
	}
	if n%20 == 0 {
		h.rare()
	}
	if day.Format(time.DateOnly) == "2027-08-31" {
		h.finish()
		h.load(yearSpecs[rareSpec].cage)
		h.tend("teardown") // falls due again on 29 February
	}
	half := h.made + crimps/2
	end := h.made + crimps
	for h.made < end {
		if h.made >= half && half > 0 {
			half = 0
			h.zero()
			h.operator("ms")
			y.noon(n)
		}
		h.work(end - h.made)
		if y.plant != nil { // as much as a real press would let pile up
			waitFor(y.t, "the broker", func() bool { return h.a.store.Last()-h.a.store.SentSeq() < 50_000 || y.outage(n) })
		}
	}
	y.evening(n)
}

// outage says whether the broker is away in the afternoon of a day.
func (y *year) outage(n int) bool { return n%7 == 3 }

// noon is what happens at the plant.
func (y *year) noon(n int) {
	if y.plant == nil {
		return
	}
	if y.outage(n) {
		// The broker's library waits for ever for who connects while it is being closed.
		waitFor(y.t, "the publisher to be connected", func() bool { return y.hands.a.publisher.State().Connected })
		if err := y.plant.Stop(); err != nil {
			y.t.Fatal(err)
		}
	}
	if last := y.hands.a.store.Last(); n%5 == 1 && last > 100 {
		from := 1 + y.rnd.Uint64N(last-50)
		if err := y.hands.a.store.Resend(from, from+40); err != nil && y.size.keep == 0 {
			y.t.Fatal(err)
		}
	}
}

func (y *year) evening(n int) {
	switch {
	case y.plant == nil && n%7 == 3 && y.killed < 40, y.plant != nil && y.outage(n):
		y.cut()
	default:
		y.quiet()
		y.sent()
		for y.hands.a.tidy() { // what a real year's minutes would do
		}
		y.close()
	}
	if y.plant != nil {
		if err := y.plant.Start(); err != nil {
			y.t.Fatal(err)
		}
	}
}
