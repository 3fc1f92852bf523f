package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"benchtally/agent/record"
)

// runningAgent is `benchtally run --inputs -` in this process.
type runningAgent struct {
	t      *testing.T
	config string
	in     *io.PipeWriter
	out    chan record.Record // what it printed
	done   chan int
	errs   strings.Builder
}

func startAgent(t *testing.T, config string) *runningAgent {
	t.Helper()
	inR, inW := io.Pipe()
	outR, outW := io.Pipe()
	a := &runningAgent{t: t, config: config, in: inW, out: make(chan record.Record, 1<<16), done: make(chan int, 1)}
	go func() {
		defer close(a.out)
		for lines := bufio.NewScanner(outR); lines.Scan(); {
			var r record.Record
			if err := json.Unmarshal(lines.Bytes(), &r); err != nil {
				t.Errorf("%s: %v", lines.Text(), err)
			}
			a.out <- r
		}
	}()
	go func() {
		code := run(env{context.Background(), inR, outW, &a.errs}, []string{"run", "--config", config, "--inputs", "-"})
		_ = outW.Close()
		a.done <- code
	}()
	return a
}

func (a *runningAgent) say(format string, args ...any) {
	a.t.Helper()
	if _, err := fmt.Fprintf(a.in, format+"\n", args...); err != nil {
		a.t.Fatal(err)
	}
}

// next is the next record printed, of any of the kinds.
func (a *runningAgent) next(kinds ...record.Kind) record.Record {
	a.t.Helper()
	for r := range a.out {
		if slices.Contains(kinds, r.Kind) {
			return r
		}
	}
	a.t.Fatalf("the output ended before a record of %v", kinds)
	return record.Record{}
}

// end closes the inputs and wants the agent to end well.
func (a *runningAgent) end() {
	a.t.Helper()
	_ = a.in.Close()
	for range a.out { // what is still printed
	}
	if code := <-a.done; code != exitDone {
		a.t.Errorf("exit %d: %s", code, a.errs.String())
	}
}

// TestAsked asks a running agent all that the other commands may ask.
func TestAsked(t *testing.T) {
	dir, config := shop(t, "[page]\nlisten = \"127.0.0.1:0\"\n")
	a := startAgent(t, config)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.next(record.Start)
	ok := func(args ...string) string {
		t.Helper()
		code, out, errs := command(t, "", args...)
		if code != exitDone {
			t.Fatalf("%v: exit %d, %s", args, code, errs)
		}
		return out
	}
	var st status
	if err := json.Unmarshal([]byte(ok("status", "--config", config, "--json")), &st); err != nil {
		t.Fatal(err)
	}
	if !st.Running || st.Work.Order != "A-1001" || len(st.Links) != 5 {
		t.Errorf("%+v", st)
	}
	if got := ok("do", `{"do":"set","setting":85}`, "--config", config, "--json"); !strings.Contains(got, `"setting":85`) {
		t.Errorf("do: %s", got)
	}
	if code, _, errs := command(t, "", "do", `{"do":"dry"}`, "--config", config); code != exitFault || !strings.Contains(errs, "refused: there is no stroke") {
		t.Errorf("a refused action: exit %d, %s", code, errs)
	}
	if got := ok("log", "--config", config, "--json"); strings.Count(got, "\n") != 3 {
		t.Errorf("log:\n%s", got)
	}
	copied := filepath.Join(dir, "copy.db")
	ok("backup", copied, "--config", config)
	ok("verify", copied)
	ok("verify", filepath.Join(dir, "bench.db")) // in use: a consistent copy is checked
	ok("resend", "--from", "1", "--to", "2", "--config", config)
	if code, _, errs := command(t, "", "resend", "--from", "1", "--to", "9", "--config", config); code != exitFault || !strings.Contains(errs, "last record kept is 3") {
		t.Errorf("resend beyond the end: exit %d, %s", code, errs)
	}
	info, err := os.Stat(filepath.Join(dir, "bench.db.sock"))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the socket: %v, %v", info, err)
	}
	a.end()
	if _, err := os.Stat(filepath.Join(dir, "bench.db.sock")); err == nil {
		t.Error("the socket was left behind")
	}
}

// TestLiveStroke: levels in real time make a stroke, and it takes the readings.
func TestLiveStroke(t *testing.T) {
	_, config := shop(t, "[measure]\nplaces = 1\n")
	a := startAgent(t, config)
	a.say(`{"tape":1,"at":"2026-03-02T06:00:00Z"}`) // a header is passed over
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.say(`{"t":99,"level":0}`)
	time.Sleep(250 * time.Millisecond) // the closure must last: this is the one test of it in real time
	a.say(`{"t":1,"level":1}`)
	stroke := a.next(record.Stroke, record.Refused)
	if stroke.Kind != record.Stroke || stroke.Piece != "A-1001/1" {
		t.Fatalf("%+v", stroke)
	}
	a.say(`not json`)
	if r := a.next(record.Refused); !strings.Contains(r.Reason, "input line 5") || r.Raw != "not json" {
		t.Errorf("%+v", r)
	}
	a.say(`{"text":"+1.2000\r\n"}`)
	if r := a.next(record.Verdict); r.Outcome != "pass" || r.At.Before(stroke.At) {
		t.Errorf("%+v", r)
	}
	a.end()
}

// TestFullDisk: a store without room is shown and survived; what waited is kept
// when there is room again.
func TestFullDisk(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("a small file system can only be mounted by root")
	}
	small := t.TempDir()
	if err := syscall.Mount("tmpfs", small, "tmpfs", 0, "size=3m"); err != nil {
		t.Skipf("no file system can be mounted here: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(small, 0) })
	_, config := shop(t, "[store]\npath = \""+filepath.Join(small, "bench.db")+"\"\n")
	a := startAgent(t, config)
	a.say(`{"do":"load","cage":"C-21"}`)
	a.next(record.Load)
	filler := filepath.Join(small, "filler")
	if err := fill(filler); err == nil {
		t.Fatal("the file system takes anything")
	}
	stop := make(chan struct{})
	sent := make(chan int, 1)
	go func() {
		n := 0
		for ; ; n++ {
			select {
			case <-stop:
				sent <- n
				return
			default:
				a.say(`{"text":"+1.%04d\r\n"}`, 1000+n%9000)
			}
		}
	}()
	printed := make(chan int, 1)
	fault := make(chan record.Record, 16)
	go func() {
		n := 0
		for r := range a.out {
			if r.Kind == record.Reading {
				n++
			}
			if r.Kind == record.Fault {
				fault <- r
			}
		}
		printed <- n
	}()
	next := func(state string) {
		t.Helper()
		select {
		case r := <-fault:
			if r.Source != record.Store || r.State != state {
				t.Errorf("%+v, want the store's fault %s", r, state)
			}
		case <-time.After(time.Minute):
			t.Fatalf("no fault %s", state)
		}
	}
	deadline := time.Now().Add(time.Minute)
	for { // that nothing is kept any more is shown by the running agent
		code, out, errs := command(t, "", "status", "--config", config)
		if code != exitDone {
			t.Fatalf("exit %d: %s", code, errs)
		}
		if strings.Contains(out, "FAULT") && strings.Contains(out, "full") && !strings.Contains(out, "all is kept") {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("no fault is shown:\n%s", out)
		}
		time.Sleep(50 * time.Millisecond)
	}
	close(stop)
	n := <-sent
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	next(record.On)
	next(record.Off)
	_ = a.in.Close()
	if got := <-printed; got != n {
		t.Errorf("%d of %d readings were kept", got, n)
	}
	if code := <-a.done; code != exitDone {
		t.Errorf("exit %d: %s", code, a.errs.String())
	}
}

// fill writes until there is no room.
func fill(name string) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }()
	for _, size := range []int{1 << 16, 1 << 12} {
		for {
			if _, err = f.Write(make([]byte, size)); err != nil {
				break
			}
		}
	}
	return err
}

// TestPageIsServed: the page is where the configuration says, on this machine alone.
func TestPageIsServed(t *testing.T) {
	_, config := shop(t, "[page]\nlisten = \"127.0.0.1:48737\"\n")
	a := startAgent(t, config)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.next(record.Start)
	missing := func(body string) (texts []string) {
		for _, text := range []string{"A-1001", "120", "Advice only"} {
			if !strings.Contains(body, text) {
				texts = append(texts, text)
			}
		}
		return texts
	}
	body, deadline := "", time.Now().Add(10*time.Second)
	for len(missing(body)) > 0 {
		if time.Now().After(deadline) {
			t.Fatalf("the page lacks %q:\n%s", missing(body), body)
		}
		time.Sleep(20 * time.Millisecond) // it may not listen yet, or be drawn before the start
		answer, err := http.Get("http://127.0.0.1:48737/")
		if err != nil {
			continue
		}
		b, err := io.ReadAll(answer.Body)
		_ = answer.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		body = string(b)
	}
	a.end()
}
