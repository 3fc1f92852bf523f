package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
)

const open = "allow_anonymous true\nlog_type none\n"

var discard = slog.New(slog.DiscardHandler)

// kept are the ids in the database; each is there once, or the primary key lies.
func kept(t testing.TB, db *pgx.Conn) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for id := range strings.FieldsSeq(ask(t, db, "SELECT id FROM event")) {
		if all[id] {
			t.Errorf("%s is there twice", id)
		}
		all[id] = true
	}
	return all
}

// number waits until the database holds that many events, and checks that no
// more come than should.
func number(t testing.TB, db *pgx.Conn, n int) {
	t.Helper()
	until(t, fmt.Sprintf("%d events in the database", n), func() bool {
		return ask(t, db, "SELECT count(*) >= $1 FROM event", n) == "t"
	})
}

func subscribed(t testing.TB, c *collecting) {
	t.Helper()
	until(t, "subscribed", func() bool { return strings.Contains(c.logs.String(), "msg=collecting") })
}

func TestEveryEventOnce(t *testing.T) {
	url, db := newDatabase(t)
	m := newMosquitto(t, open)
	c := collect(t, m.addr, url, nil)
	subscribed(t, c)
	north, south := newPress(t, m.addr, base, ""), newPress(t, m.addr, "riverside/hose-shop/south-bench", "")
	north.add(t, 300)
	south.add(t, 200)
	number(t, db, 500)
	if err := north.store.Resend(50, 149); err != nil {
		t.Fatal(err)
	}
	north.publish.Wake()
	until(t, "sent again", func() bool { e, err := north.store.Resends(1); return len(e) == 0 && err == nil })
	north.add(t, 1) // behind what was sent again
	number(t, db, 501)
	want := north.ids(t)
	for id := range south.ids(t) {
		want[id] = true
	}
	if diff := cmp.Diff(want, kept(t, db)); diff != "" {
		t.Errorf("published -, kept +:\n%s", diff)
	}
	until(t, "both are online", func() bool {
		return ask(t, db, "SELECT source, state FROM press ORDER BY source") == "/"+base+" online\n/riverside/hose-shop/south-bench online"
	})
	south.stop()
	until(t, "one has left", func() bool {
		return ask(t, db, "SELECT state, reason FROM press WHERE source LIKE '%south%'") == "offline stopped"
	})
	if got := ask(t, db, "SELECT (SELECT count(*) FROM gap), (SELECT count(*) FROM refused), (SELECT count(*) FROM lost_commit)"); got != "0 0 0" {
		t.Errorf("gaps, refused, lost commits: %s", got)
	}
}

// While the collector is away the broker keeps what comes, and gives it before
// the collector has subscribed anew: with no limit on what is in flight its
// answer stands behind all of it.
func TestCollectorAway(t *testing.T) {
	for _, window := range []string{"0", "1", "20"} {
		t.Run("in flight "+window, func(t *testing.T) {
			url, db := newDatabase(t)
			m := newMosquitto(t, open+"max_inflight_messages "+window+"\n")
			c := collect(t, m.addr, url, nil)
			subscribed(t, c)
			c.stop()
			p := newPress(t, m.addr, base, "")
			p.add(t, 2*most+500)
			p.drain(t)
			p.stop() // nothing comes any more but what waits
			if got := ask(t, db, "SELECT count(*) FROM event"); got != "0" {
				t.Fatalf("%s events of a collector that is away", got)
			}
			collect(t, m.addr, url, nil)
			number(t, db, 2*most+500)
		})
	}
}

func TestDatabaseStoppedUnderLoad(t *testing.T) {
	for _, row := range []struct {
		name string
		how  syscall.Signal
	}{{"in order", syscall.SIGINT}, {"as a crash", syscall.SIGQUIT}} {
		t.Run(row.name, func(t *testing.T) {
			server := newPostgres(t) // with fsync
			t.Cleanup(server.remove)
			url, db := server.database(t)
			m := newMosquitto(t, open)
			c := collect(t, m.addr, url, nil)
			subscribed(t, c)
			p := newPress(t, m.addr, base, "")
			p.add(t, 3000)
			number(t, db, 100)
			server.stop(row.how)
			p.add(t, 1000)
			until(t, "the collector has noticed", func() bool { return strings.Contains(c.logs.String(), "msg=interrupted") })
			p.drain(t)
			server.start(t)
			db = connect(t, url)
			number(t, db, 4000)
			if diff := cmp.Diff(p.ids(t), kept(t, db)); diff != "" {
				t.Errorf("published -, kept +:\n%s", diff)
			}
			t.Log(strings.Count(c.logs.String(), "msg=collecting"), "sessions")
		})
	}
}

// A broker that saves nothing and is killed loses what it had acknowledged. The
// gaps show it, and the press sends it again.
func TestBrokerKilledUnderLoad(t *testing.T) {
	url, db := newDatabase(t)
	m := newMosquitto(t, open+"persistence false\n")
	c := collect(t, m.addr, url, nil)
	p := newPress(t, m.addr, base, "")
	back := func(n int) {
		t.Helper()
		until(t, "the collector is back", func() bool { return strings.Count(c.logs.String(), "msg=collecting") >= n })
	}
	for k := 1; k <= 3; k++ {
		back(k) // what comes before has no subscriber, and is lost too
		p.add(t, 1000)
		until(t, "some of it", func() bool {
			return ask(t, db, "SELECT coalesce(max(sequence), 0) > $1 - 900 FROM event", p.store.Last()) == "t"
		})
		m.kill()
		m.start(t)
	}
	back(4)
	p.drain(t)
	p.add(t, 1) // shows a gap at the end
	until(t, "the last event", func() bool {
		return ask(t, db, "SELECT max(sequence) FROM event") == fmt.Sprint(p.store.Last())
	})
	lost := ask(t, db, "SELECT coalesce(sum(last - first + 1), 0) FROM gap")
	t.Log("lost by the broker:", lost)
	if strings.Contains(c.logs.String(), "database") {
		t.Errorf("the log lays it to the database:\n%s", c.logs)
	}
	// The agent's command does what the last line here does.
	asker(t, c, p)
	number(t, db, 3001)
	if diff := cmp.Diff(p.ids(t), kept(t, db)); diff != "" {
		t.Errorf("published -, kept +:\n%s", diff)
	}
}

// asker has the collector ask for gaps through a program that notes them, and
// does at the press what the command would, until there is none any more.
func asker(t *testing.T, c *collecting, p *press) {
	t.Helper()
	notes := filepath.Join(t.TempDir(), "notes")
	c.ask = script(t, `echo "$2 $3" >> `+notes)
	c.older, c.again = 0, time.Millisecond
	db := connect(t, c.database.ConnString())
	until(t, "no gap", func() bool {
		_ = os.Remove(notes)
		if err := c.askForGaps(t.Context()); err != nil {
			t.Fatal(err)
		}
		asked, err := os.ReadFile(notes)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(asked)) {
			var from, to uint64
			if _, err := fmt.Sscan(line, &from, &to); err != nil {
				t.Fatal(err)
			}
			if err := p.store.Resend(from, to); err != nil {
				t.Fatal(err)
			}
		}
		p.publish.Wake()
		until(t, "sent again", func() bool { e, err := p.store.Resends(1); return len(e) == 0 && err == nil })
		return ask(t, db, "SELECT count(*) FROM gap") == "0"
	})
}

// script is a program of one line.
func script(t *testing.T, line string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "ask")
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"+line+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	return path
}

// A broker that saves is stopped and started: nothing is lost at all.
func TestBrokerStoppedUnderLoad(t *testing.T) {
	url, db := newDatabase(t)
	m := newMosquitto(t, open+keeps(t))
	c := collect(t, m.addr, url, nil)
	subscribed(t, c)
	p := newPress(t, m.addr, base, "")
	for range 3 {
		p.add(t, 700)
		until(t, "some of it", func() bool {
			return ask(t, db, "SELECT count(*) > $1 - 600 FROM event", p.store.Last()) == "t"
		})
		m.stop()
		m.start(t)
	}
	p.drain(t)
	number(t, db, 2100)
	if diff := cmp.Diff(p.ids(t), kept(t, db)); diff != "" {
		t.Errorf("published -, kept +:\n%s", diff)
	}
}

// What is no event goes to the table of refused ones and does not stand in the
// way, not even where the broker gives one message at a time.
func TestGarbageDoesNotBlock(t *testing.T) {
	url, db := newDatabase(t)
	m := newMosquitto(t, open+"max_inflight_messages 1\n")
	c := collect(t, m.addr, url, nil)
	subscribed(t, c)
	intruder := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + m.addr).SetClientID("intruder"))
	if token := intruder.Connect(); token.Wait() && token.Error() != nil {
		t.Fatal(token.Error())
	}
	defer intruder.Disconnect(0)
	bad := 0
	for i, payload := range []string{
		"", "\xff\xfe", "{", "null", strings.Repeat("x", 1<<20), strings.Repeat("[", 50000), `{"specversion":"1.0"}`,
		event("s", "r", 5, "stroke", noon, ""), // good, but on the topic of another kind
	} {
		for _, topic := range []string{base + "/event/reading", base + "/status", "riverside/hose-shop/Press 1/event/stroke"} {
			if token := intruder.Publish(topic, 1, i%2 == 0, payload); token.Wait() && token.Error() != nil {
				t.Fatal(token.Error())
			}
			if payload != "" || topic != base+"/status" { // which clears the status
				bad++
			}
		}
	}
	p := newPress(t, m.addr, base, "")
	p.add(t, 50)
	number(t, db, 50)
	if got := ask(t, db, "SELECT count(*) FROM refused"); got != fmt.Sprint(bad) {
		t.Errorf("%s refused, want %d", got, bad)
	}
	if got := ask(t, db, "SELECT max(size), max(octet_length(payload)) FROM refused"); got != "1048576 4096" {
		t.Errorf("size and what is kept of it: %s", got)
	}
}

// child is the program in a process of its own.
func child(t *testing.T, addr, database string) *exec.Cmd {
	t.Helper()
	c := exec.Command(os.Args[0], "--broker", "tcp://"+addr, "--database", database, "--filter", "riverside/hose-shop/+")
	c.Env = append(os.Environ(), childCollector+"=1")
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	return c
}

func kill(c *exec.Cmd) {
	_ = c.Process.Kill()
	_ = c.Wait()
}

// Killed when the database has committed and the broker has no acknowledgement
// yet: the broker gives the same once more.
func TestCollectorKilledBetweenCommitAndAcknowledgement(t *testing.T) {
	url, db := newDatabase(t)
	m := newMosquitto(t, open+"max_inflight_messages 10\n")
	mute := newBetween(t, m.addr)
	first := child(t, mute.addr, url)
	p := newPress(t, m.addr, base, "")
	until(t, "the child collects", func() bool {
		return ask(t, db, "SELECT count(*) FROM press WHERE state = 'online'") == "1"
	})
	until(t, "the status is acknowledged", func() bool { return mute.acks.Load() > 0 }) // else it is one of the 10 in flight
	mute.muted.Store(true)
	p.add(t, 30)
	number(t, db, 10) // all that the broker gives without an acknowledgement
	kill(first)
	p.drain(t)
	if got := ask(t, db, "SELECT count(*) FROM event"); got != "10" {
		t.Fatalf("%s events are committed, want 10", got)
	}
	if _, err := db.Exec(t.Context(), "UPDATE event SET received = '2026-01-01'"); err != nil { // to see whether a row is written anew
		t.Fatal(err)
	}
	child(t, m.addr, url)
	number(t, db, 30)
	if diff := cmp.Diff(p.ids(t), kept(t, db)); diff != "" {
		t.Errorf("published -, kept +:\n%s", diff)
	}
	if got := ask(t, db, "SELECT count(*) FROM event WHERE received = '2026-01-01'"); got != "10" {
		t.Errorf("%s of the first 10 rows were left alone", got)
	}
}

// Killed anywhere.
func TestCollectorKilledUnderLoad(t *testing.T) {
	if testing.Short() {
		t.Skip("many processes")
	}
	url, db := newDatabase(t)
	m := newMosquitto(t, open)
	c := child(t, m.addr, url)
	p := newPress(t, m.addr, base, "")
	until(t, "the child collects", func() bool {
		return ask(t, db, "SELECT count(*) FROM press WHERE state = 'online'") == "1"
	})
	const kills = 8
	for k := 1; k <= kills; k++ {
		p.add(t, 300)
		number(t, db, 300*k-250) // in the midst of it
		kill(c)
		c = child(t, m.addr, url)
	}
	number(t, db, 300*kills)
	if diff := cmp.Diff(p.ids(t), kept(t, db)); diff != "" {
		t.Errorf("published -, kept +:\n%s", diff)
	}
}

func TestGaps(t *testing.T) {
	url, db := newDatabase(t)
	take := func(store, run string, seqs ...int) {
		t.Helper()
		for _, seq := range seqs {
			if got := ask(t, db, "SELECT take_event($1, $2::text)", base+"/event/stroke", event(store, run, seq, "stroke", noon, "")); got != "kept" {
				t.Fatal(got)
			}
		}
	}
	gaps := func() string { return ask(t, db, "SELECT store, first, last FROM gap ORDER BY store, first") }
	take("old", "r1", 5, 6, 9, 20) // 1 to 4 were before the collector's time
	if got, want := gaps(), "old 7 8\nold 10 19"; got != want {
		t.Errorf("gaps:\n%s\nwant:\n%s", got, want)
	}
	take("old", "r1", 12) // what is sent again comes in any order
	if got, want := gaps(), "old 7 8\nold 10 11\nold 13 19"; got != want {
		t.Errorf("gaps:\n%s\nwant:\n%s", got, want)
	}
	// A new card begins anew and is no gap.
	take("new", "r1", 1, 2, 3, 10)
	// The card loses 3 and what came behind it; 2 comes a second time too.
	take("new", "r2", 2, 3, 4)
	want := "new 5 9\nold 7 8\nold 10 11\nold 13 19"
	if got := gaps(); got != want {
		t.Errorf("gaps:\n%s\nwant:\n%s", got, want)
	}
	if got := ask(t, db, "SELECT store, run, first, kept_run FROM lost_commit"); got != "new r1 2 r2" {
		t.Errorf("lost commits: %s", got)
	}
	if got, want := ask(t, db, "SELECT e.run, f.seq FROM fact f JOIN event e ON e.source = f.source AND e.store = f.store AND e.sequence = f.seq AND e.received = f.received WHERE f.store = 'new' ORDER BY f.seq"),
		"r1 1\nr2 2\nr2 3\nr2 4"; got != want {
		t.Errorf("what the press knows:\n%s\nwant:\n%s", got, want)
	}

	c := &collector{older: time.Hour, again: time.Hour, log: discard, out: &printed{}}
	var err error
	if c.database, err = pgx.ParseConfig(url); err != nil {
		t.Fatal(err)
	}
	look := func() string {
		t.Helper()
		out := &printed{}
		c.out = out
		if err := c.askForGaps(t.Context()); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	if got := look(); got != "" {
		t.Errorf("a young gap: %s", got)
	}
	c.older = 0
	// Only the card that is in the press can be asked.
	if got, want := look(), "missing of /"+base+", run there: benchtally resend --from 5 --to 9\n"; got != want {
		t.Errorf("printed %q, want %q", got, want)
	}
	if got := look(); got != "" {
		t.Errorf("asked again at once: %s", got)
	}
	take("new", "r2", 5, 6) // it is being filled
	if got := look(); got != "" {
		t.Errorf("asked again while it is being filled: %s", got)
	}
	c.again = 0
	c.ask = script(t, `echo "told $*"; exit 3`)
	if got := look(); got != "" {
		t.Errorf("printed %q with a program", got)
	}
	if got, want := ask(t, db, "SELECT first, last, times, answer FROM asked ORDER BY first"), "5 9 1 \n7 9 1 told /"+base+" 7 9\n (exit status 3)"; got != want {
		t.Errorf("asked:\n%s\nwant:\n%s", got, want)
	}
	c.ask = filepath.Join(t.TempDir(), "none")
	look()
	if got := ask(t, db, "SELECT times, answer LIKE '%no such file%' FROM asked WHERE first = 7"); got != "2 t" {
		t.Errorf("a program that is not there: %s", got)
	}
	// What the press has pruned is given up, and nothing of it is asked for again.
	if _, err := db.Exec(t.Context(), "INSERT INTO given_up (source, store, first, last, reason) VALUES ($1, 'new', 1, 8, 'pruned')", "/"+base); err != nil {
		t.Fatal(err)
	}
	if got, want := gaps(), "new 9 9\nold 7 8\nold 10 11\nold 13 19"; got != want {
		t.Errorf("gaps:\n%s\nwant:\n%s", got, want)
	}
}

// A press gets a new card, and one that has lost its last commit.
func TestNewCardAndLostCommit(t *testing.T) {
	url, db := newDatabase(t)
	m := newMosquitto(t, open)
	c := collect(t, m.addr, url, nil)
	subscribed(t, c)
	p := newPress(t, m.addr, base, "")
	p.add(t, 10)
	number(t, db, 10)
	p.stop()
	before, err := os.ReadFile(p.path)
	if err != nil {
		t.Fatal(err)
	}
	p = newPress(t, m.addr, base, p.path)
	p.add(t, 3)
	number(t, db, 13)
	p.stop()
	if err := os.WriteFile(p.path, before, 0o600); err != nil { // 11 to 13 are lost
		t.Fatal(err)
	}
	p = newPress(t, m.addr, base, p.path)
	p.add(t, 2)
	number(t, db, 15)
	if got := ask(t, db, "SELECT first, count(*) OVER () FROM lost_commit"); got != "11 1" {
		t.Errorf("lost commits from %s, want 11, one", got)
	}
	if got := ask(t, db, "SELECT count(*), max(seq) FROM fact"); got != "12 12" {
		t.Errorf("the press knows of %s records", got)
	}
	p.stop()
	p = newPress(t, m.addr, base, "")
	p.add(t, 4)
	number(t, db, 19)
	if got := ask(t, db, "SELECT count(DISTINCT store), (SELECT count(*) FROM gap) FROM event"); got != "2 0" {
		t.Errorf("stores and gaps: %s", got)
	}
}

func TestUsage(t *testing.T) {
	for _, row := range []struct{ name, args, want string }{
		{"no broker", "", "no --broker"},
		{"no client", "--broker tcp://127.0.0.1:1 --client=", "no --client"},
		{"a word too many", "--broker tcp://127.0.0.1:1 more", `"more"`},
		{"no interval", "--broker tcp://127.0.0.1:1 --look 0s", "--look 0s"},
		{"no such flag", "--colour", "colour"},
		{"no database", "--create --database postgres://postgres@127.0.0.1:1/x?sslmode=disable", "connect"},
		{"a database that is no URL", "--broker tcp://127.0.0.1:1 --database postgres://:x:y", "parse"},
	} {
		t.Run(row.name, func(t *testing.T) {
			ctx, end := context.WithTimeout(t.Context(), 10*time.Second)
			defer end()
			if err := run(ctx, strings.Fields(row.args), io.Discard, io.Discard); err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("%v, want %q", err, row.want)
			}
		})
	}
}
