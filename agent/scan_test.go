package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"

	"benchtally/agent/crimp"
	"benchtally/agent/label"
	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// scanning is an agent that runs, with job cards, a gauge ring and an operator.
type scanning struct {
	t     *testing.T
	a     *agent
	badge string             // of kj
	kept  chan record.Record // all records
	at    time.Time          // of the latest stroke
}

// startScanning begins; change is more of the page's table, and more tables.
func startScanning(t *testing.T, change string, sources ...func(*agent) func(context.Context) error) *scanning {
	t.Helper()
	dir, file := shop(t, "[page]\nlisten = \"127.0.0.1:0\"\noperators = \"operators.csv\"\n"+change+
		"[[jobs]]\nfile = \"jobs.csv\"\n[[standards]]\nname = \"ring-25\"\nvalue = \"25.000mm\"\n")
	write(t, filepath.Join(dir, "jobs.csv"), "order,quantity,a_spec,b_spec\nA-1001,2,hs-08,hs-08\nA-1002,4,hs-12,\n")
	operator := func(args ...string) string {
		code, out, errs := command(t, "4711\n", append([]string{"operator", "--config", file}, args...)...)
		if code != exitDone {
			t.Fatal(errs)
		}
		return strings.TrimSpace(out)
	}
	operator("add", "kj")
	s := &scanning{t: t, badge: operator("badge", "kj"), kept: make(chan record.Record, 1024), at: time.Now()}
	cfg, err := loadConfig(file)
	if err != nil {
		t.Fatal(err)
	}
	if s.a, err = newAgent(cfg, time.Now); err != nil {
		t.Fatal(err)
	}
	s.a.told = func(records []record.Record) {
		for _, r := range records {
			s.kept <- r
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	running := []func(context.Context) error{func(ctx context.Context) error { <-ctx.Done(); return nil }}
	for _, source := range sources {
		running = append(running, source(s.a))
	}
	done := make(chan error, 1)
	go func() { done <- s.a.run(ctx, running...) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	return s
}

// next is the next record of a kind; those before it are passed over.
func (s *scanning) next(kind record.Kind) record.Record {
	s.t.Helper()
	late := time.After(10 * time.Second)
	for {
		select {
		case r := <-s.kept:
			if r.Kind == kind {
				return r
			}
		case <-late:
			s.t.Fatalf("no record %s within 10 s", kind)
		}
	}
}

// scan scans a text in nobody's name.
func (s *scanning) scan(text string) panel.Scanned {
	s.t.Helper()
	got, err := s.a.scan(s.t.Context(), text, "")
	if err != nil {
		s.t.Fatalf("%q: %v", text, err)
	}
	return got
}

// says scans a text, wants an answer, and returns the record of a kind that it makes.
func (s *scanning) says(text, said string, kind record.Kind) record.Record {
	s.t.Helper()
	got := s.scan(text)
	if got.Refused != "" || got.Said != said {
		s.t.Errorf("%q: %+v, want %q", text, got, said)
	}
	if kind == "" {
		return record.Record{}
	}
	return s.next(kind)
}

// refuses scans a text and returns the record of its refusal.
func (s *scanning) refuses(text, why string) record.Record {
	s.t.Helper()
	got := s.scan(text)
	if got.Said != "" || !strings.Contains(got.Refused, why) {
		s.t.Errorf("%q: %+v, want a refusal with %q", text, got, why)
	}
	r := s.next(record.Refused)
	if r.Source != record.Action || r.Reason != got.Refused {
		s.t.Errorf("%q: kept as %+v", text, r)
	}
	return r
}

// crimps makes a piece and its readings.
func (s *scanning) crimps(d crimp.Length) record.Record {
	s.t.Helper()
	ctx := s.t.Context()
	s.at = s.at.Add(5 * time.Second)
	s.a.bench.put(ctx, station.Stroke{At: s.at, Held: 300 * time.Millisecond})
	for range 3 {
		s.a.bench.put(ctx, station.Reading{At: s.at, Value: d, Step: crimp.Thousandth / 2, Raw: "x"})
	}
	return s.next(record.Verdict)
}

// TestScan: each label does what it says, and what cannot be done is kept and said.
func TestScan(t *testing.T) {
	s := startScanning(t, "")
	const target = 12 * crimp.Inch / 10
	if r := s.says("\x02order A-1001\r\n", "order A-1001 is in work", record.Start); r.Order != "A-1001" || r.Quantity != 2 || r.Spec != "hs-08" || r.End != crimp.EndA {
		t.Errorf("%+v", r)
	}
	s.says("order A-1001", "read twice, done once", "")
	if r := s.says("C-21", "cage C-21 is loaded", record.Load); r.Cage != "C-21" { // the cage's own barcode
		t.Errorf("%+v", r)
	}
	s.refuses("DO SET", "no setting is advised now")
	s.refuses("DO GOOD", "no piece of order A-1001 is crimped yet")
	if got := s.crimps(target + 4*crimp.Thousandth); got.Outcome != crimp.Pass {
		t.Errorf("%+v", got)
	}
	if r := s.says("do good", "looked at, all good", record.Check); r.Piece != "A-1001/1" || r.Points != "square-cut,insertion-mark,bore-open" || !*r.OK {
		t.Errorf("%+v", r)
	}
	s.refuses("DO FIRST", "a first piece is signed off by name")
	got := s.scan(s.badge)
	if got.Person != "kj" || got.Said != "kj is at the press" {
		t.Errorf("%+v", got)
	}
	if r := s.next(record.Operator); r.Operator != "kj" {
		t.Errorf("%+v", r)
	}
	if r := s.says("do first", "the first piece is signed off", record.Check); r.Piece != "A-1001/1" || r.Points != station.PointFirst || r.Operator != "kj" {
		t.Errorf("%+v", r)
	}
	advice := s.a.health.seen().Advice()
	if advice == nil {
		t.Fatal("a first piece beside the target gives no advice")
	}
	if r := s.says("DO SET", "set to "+crimp.Dial(*advice), record.Set); *r.Setting != *advice || *advice >= 120 {
		t.Errorf("set to %d, advised is %d", *r.Setting, *advice)
	}
	s.says("ORDER A-1001", "order A-1001 is in work", "") // it is: nothing is done
	if v := s.a.health.seen(); *v.Setting != *advice {
		t.Errorf("set to %d by the label of the order in work", *v.Setting)
	}
	s.crimps(target)
	if r := s.says("PIECE A-1001/1", "piece A-1001/1 is measured again", record.Measure); r.Piece != "A-1001/1" {
		t.Errorf("%+v", r)
	}
	s.refuses("PIECE A-1001/7", `piece "A-1001/7" is not at hand`)
	if r := s.says("DO UNDO", "the last reading is taken back", record.Undo); r.Of == 0 {
		t.Errorf("%+v", r)
	}
	if r := s.says("CHECK ring-25", "measure ring-25 now", record.Standard); r.Standard != "ring-25" {
		t.Errorf("%+v", r)
	}
	s.refuses("CHECK ring-99", "ring-99")
	if r := s.says("DO LUBRICATED", "the cage is lubricated", record.Care); r.Work != crimp.Lubricate || r.Cage != "C-21" || r.State != record.Done || r.Operator != "kj" {
		t.Errorf("%+v", r)
	}
	if r := s.says("DO CLEANED", "the cage is cleaned", record.Care); r.Work != crimp.Clean {
		t.Errorf("%+v", r)
	}
	v := s.a.health.seen()
	if r := s.says("DO TURN", "the other end comes next", record.Turn); r.End != v.Order.NextEnd.Other() {
		t.Errorf("turned to %q, next was %q", r.End, v.Order.NextEnd)
	}
	if r := s.says("DO DRY", "the last stroke crimped nothing", record.Dry); r.Of == 0 {
		t.Errorf("%+v", r)
	}
	s.crimps(target)
	if r := s.says("DO SCRAP", "the piece is scrap", record.Scrap); r.Reason != "scanned at the press" || r.Piece == "" {
		t.Errorf("%+v", r)
	}
	s.at = s.at.Add(5 * time.Second)
	s.a.bench.put(t.Context(), station.Stroke{At: s.at, Held: 300 * time.Millisecond})
	s.next(record.Stroke)
	if r := s.says("DO SAME", "the last stroke was on the piece before", record.Same); r.Of == 0 {
		t.Errorf("%+v", r)
	}
	s.refuses("CAGE C-30", "order A-1001 is in work and hs-08 needs cage C-21")
	s.says("DO FINISH", "the order is finished or set aside", record.Finish)
	if r := s.refuses("A-1002", "cage C-21 is loaded, hs-12 needs cage C-30"); !strings.Contains(r.Raw, `"order":"A-1002"`) {
		t.Errorf("%+v", r)
	}
	s.says("CAGE C-30", "cage C-30 is loaded", record.Load)
	if r := s.says("A-1002", "order A-1002 is in work", record.Start); r.Spec != "hs-12" { // the office's own barcode
		t.Errorf("%+v", r)
	}
	if r := s.refuses("4006381333931", `"4006381333931" is no label of this shop`); r.Raw != "4006381333931" {
		t.Errorf("%+v", r)
	}
	if r := s.refuses("DO CRIMP", `"DO CRIMP" is no command`); r.Raw != "DO CRIMP" {
		t.Errorf("%+v", r)
	}
	for _, text := range []string{"BADGE AAAABBBBCCCCDDDD", "CAGE C-30badge AAAABBBB\x00"} {
		if r := s.refuses(text, ""); r.Raw != "" || strings.Contains(r.Reason, "AAAA") {
			t.Errorf("a badge's secret is kept: %+v", r)
		}
	}
}

// TestEveryCommandIsKnown: what is printed for the sheet beside the press is done.
func TestEveryCommandIsKnown(t *testing.T) {
	setting := 118
	v := station.View{Order: &station.OrderView{ID: "A-1"}, Next: &record.Record{Order: "A-1", Setting: &setting}}
	for _, c := range label.Commands() {
		if m, err := commandOf(c, v); err != nil || m.action.Do == "" || m.said == "" {
			t.Errorf("%s: %+v, %v", c, m, err)
		}
	}
	if _, err := commandOf("CRIMP", v); err == nil {
		t.Error("an unknown command is done")
	}
}

// TestScanByName: where people sign in, labels want to know who scans them.
func TestScanByName(t *testing.T) {
	s := startScanning(t, "sign_in = \"on\"\n")
	s.refuses("CAGE C-21", "scan your badge first")
	got, err := s.a.scan(t.Context(), "DO FINISH", "mb") // signed in at the page
	if err != nil || got.Refused != "no order is in work" {
		t.Errorf("%+v, %v", got, err)
	}
	if got := s.scan(s.badge); got.Person != "kj" {
		t.Errorf("%+v", got)
	}
	s.says("CAGE C-21", "cage C-21 is loaded", record.Load)
	if r := s.says("DO CLEANED", "the cage is cleaned", record.Care); r.Operator != "kj" {
		t.Errorf("%+v", r)
	}
}

// TestScanAgain: a scanner that reads a label twice does it once.
func TestScanAgain(t *testing.T) {
	var s scans
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	want := func(text string, after time.Duration, again bool, answer panel.Scanned) {
		t.Helper()
		now = now.Add(after)
		if got, is := s.again(text, now); is != again || got != answer {
			t.Errorf("%q after %s: %+v, %t, want %+v, %t", text, after, got, is, answer, again)
		}
	}
	none, once := panel.Scanned{}, panel.Scanned{Said: "read twice, done once"}
	want("DO UNDO", 0, false, none)
	want("DO UNDO", time.Second, true, once) // it is still being done
	s.done("DO UNDO", panel.Scanned{Said: "the last reading is taken back"}, true)
	for range 5 { // the trigger is held
		want("DO UNDO", 1900*time.Millisecond, true, once)
	}
	want("DO UNDO", 2*time.Second, false, none)
	refused := panel.Scanned{Refused: "there is no reading"}
	s.done("DO UNDO", refused, true)
	want("DO UNDO", time.Second, true, refused)
	want("DO SAME", time.Millisecond, false, none)
	s.done("DO UNDO", refused, true) // of one before: it is no answer to this
	want("DO SAME", time.Second, true, once)
	s.done("DO SAME", none, false) // the store took nothing
	want("DO SAME", time.Millisecond, false, none)
}

// TestScannerOnItsPort: the labels that a scanner on a port of its own reads are
// done, and its troubles are shown and kept.
func TestScannerOnItsPort(t *testing.T) {
	name := filepath.Join(t.TempDir(), "usb-scanner-if00")
	plug := func() *os.File {
		t.Helper()
		master, slave, err := pty.Open()
		if err != nil {
			t.Skipf("no pseudo terminals here: %v", err)
		}
		t.Cleanup(func() { _ = master.Close() }) // closed by pulling the cable
		if err := os.Symlink(slave.Name(), name+".new"); err != nil {
			t.Fatal(err)
		}
		if err := slave.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(name+".new", name); err != nil {
			t.Fatal(err)
		}
		return master
	}
	send := func(to *os.File, text string) {
		t.Helper()
		if _, err := to.WriteString(text); err != nil {
			t.Fatal(err)
		}
	}
	s := startScanning(t, "[scanner]\nport = \""+name+"\"\n", func(a *agent) func(context.Context) error { return a.watchScanner() })
	link := func(ok bool, text string) {
		t.Helper()
		if _, err := s.a.bench.ask(t.Context(), nil); err != nil { // all before is shown
			t.Fatal(err)
		}
		snapshot, told := s.a.health.snapshot(), "ok"
		if !ok {
			told = text
		}
		if got := healthOf(snapshot, false).Scanner; !strings.Contains(got, told) {
			t.Errorf("the retained state says %q, want %q", got, told)
		}
		for _, l := range snapshot.Links {
			if l.Name == "scanner" {
				if l.OK != ok || !strings.Contains(l.Text, text) {
					t.Errorf("the link is %+v, want %t, %q", l, ok, text)
				}
				return
			}
		}
		t.Error("there is no link of the scanner")
	}
	trouble := func(state, reason string) {
		t.Helper()
		if r := s.next(record.Fault); r.Source != record.Scanner || r.State != state || !strings.Contains(r.Reason, reason) {
			t.Errorf("%+v, want %s, %q", r, state, reason)
		}
	}
	refused := func(source record.Source, raw, reason string) {
		t.Helper()
		if r := s.next(record.Refused); r.Source != source || r.Raw != raw || !strings.Contains(r.Reason, reason) {
			t.Errorf("%+v, want %s, %q, %q", r, source, raw, reason)
		}
	}
	trouble(record.On, name+" is not there")
	link(false, "plug the scanner's cable in")
	scanner := plug()
	trouble(record.Off, "the scanner's port is back")
	link(true, name)

	send(scanner, "\rCAGE C-21\r\nORDER A-1001\r\n") // two in one burst
	if r := s.next(record.Load); r.Cage != "C-21" {
		t.Errorf("%+v", r)
	}
	if r := s.next(record.Start); r.Order != "A-1001" {
		t.Errorf("%+v", r)
	}
	send(scanner, "4711\r\n")
	refused(record.Action, "4711", "is no label of this shop")
	send(scanner, "BADGE AAAABBBB")
	refused(record.Scanner, "", "the code broke off")
	send(scanner, "CCCCDDDD\r\n") // late, and a secret all the same
	refused(record.Scanner, "", "the code broke off")
	send(scanner, "CAGE \xff\r\n\xfe\r\n\xfd\r\n")
	refused(record.Scanner, `CAGE \xff`, "this is no text")
	trouble(record.On, "code after code is no text")
	send(scanner, s.badge+"\r\n")
	trouble(record.Off, "can be read again")
	if r := s.next(record.Operator); r.Operator != "kj" {
		t.Errorf("%+v", r)
	}

	send(scanner, "DO FINI")
	if err := scanner.Close(); err != nil {
		t.Fatal(err)
	}
	trouble(record.On, "plug the scanner's cable in")
	scanner = plug()
	trouble(record.Off, "is back")
	send(scanner, "\rDO FINISH") // one that sends no line end
	s.next(record.Finish)
}

// TestNoScanner: where none is named, nothing is shown and nothing is sent of one.
func TestNoScanner(t *testing.T) {
	s := startScanning(t, "")
	snapshot := s.a.health.snapshot()
	for _, l := range snapshot.Links {
		if l.Name == "scanner" {
			t.Errorf("shown: %+v", l)
		}
	}
	sent, err := json.Marshal(healthOf(snapshot, false))
	if err != nil || !strings.Contains(string(sent), `"caliper":`) || strings.Contains(string(sent), "scanner") {
		t.Errorf("sent: %s, %v", sent, err)
	}
}
