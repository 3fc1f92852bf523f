package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"
)

// TestMain lets tests run this binary as the program itself, to kill it, and as the
// listening process of a collector.
func TestMain(m *testing.M) {
	if os.Getenv("BENCHTALLY_AS_PROGRAM") != "" {
		os.Exit(run(env{context.Background(), os.Stdin, os.Stdout, os.Stderr}, os.Args[1:]))
	}
	if broker := os.Getenv(asListener); broker != "" {
		listen(broker, os.Getenv(asListener+"_CA"))
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// program is the program itself, as a process of its own.
func program(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, args...)
	cmd.Env = append(os.Environ(), "BENCHTALLY_AS_PROGRAM=1")
	return cmd
}

// longTape strings all scenarios that go with the plain configuration together,
// n times over, as one tape.
func longTape(t testing.TB, n int) string {
	t.Helper()
	var out strings.Builder
	out.WriteString(`{"tape":1,"at":"2026-03-02T06:00:00Z"}` + "\n")
	base := 0.0
	for round := range n {
		for _, name := range scenarios(t) {
			a, err := txtar.ParseFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if section(a, "config") != "" || strings.Contains(name, "teardown-by-months") {
				continue
			}
			last := 0.0
			for line := range strings.Lines(section(a, "tape")) {
				var at float64
				if _, err := fmt.Sscanf(line, `{"t":%g,`, &at); err != nil {
					continue // the header
				}
				_, rest, _ := strings.Cut(line, ",")
				rest = strings.ReplaceAll(rest, "A-1001", fmt.Sprintf("A-%d", 1000+round%7))
				fmt.Fprintf(&out, "{\"t\":%.6f,%s", base+at, rest)
				last = at
			}
			base += last + 5
		}
	}
	return out.String()
}

func write(t testing.TB, name, text string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestReplayInParts cuts a tape between any two lines into two tapes, replays
// one after the other into one store, and wants the records of one run.
func TestReplayInParts(t *testing.T) {
	t.Parallel() // it waits for other processes
	dir, config := shop(t, "")
	whole := longTape(t, 1)
	tape := filepath.Join(dir, "tape.jsonl")
	write(t, tape, whole)
	_, want, errs := command(t, "", "replay", tape, "--config", config)
	if want == "" {
		t.Fatal(errs)
	}
	lines := strings.SplitAfter(strings.TrimSuffix(whole, "\n"), "\n")
	step := 3 // every cut was tried once; a third of them keeps the test short
	if testing.Short() {
		step = 11
	}
	for cut := 1 + rand.IntN(step); cut < len(lines); cut += step {
		kept := filepath.Join(dir, fmt.Sprintf("parts-%d.db", cut))
		first, second := filepath.Join(dir, "first.jsonl"), filepath.Join(dir, "second.jsonl")
		write(t, first, strings.Join(lines[:cut], ""))
		write(t, second, lines[0]+strings.Join(lines[cut:], ""))
		_, got1, errs1 := command(t, "", "replay", first, "--config", config, "--store", kept)
		_, got2, errs2 := command(t, "", "replay", second, "--config", config, "--store", kept)
		if got1+got2 != want {
			t.Fatalf("cut before line %d (%s): %s%s\n%s", cut+1, strings.TrimSpace(lines[cut]), errs1, errs2, difference(want, got1+got2))
		}
		if err := os.Remove(kept); err != nil {
			t.Fatal(err)
		}
	}
}

// TestReplayKilled kills a replay at random moments and starts it again until it
// ends by itself: the records are those of one run, and the store is whole.
func TestReplayKilled(t *testing.T) {
	t.Parallel() // it waits for other processes
	dir, config := shop(t, "")
	tape := filepath.Join(dir, "tape.jsonl")
	write(t, tape, longTape(t, 12))
	_, want, _ := command(t, "", "replay", tape, "--config", config)
	kills, wanted := 0, 200
	if testing.Short() {
		wanted = 40
	}
	rnd := rand.New(rand.NewPCG(7, 7))
	for run := 0; kills < wanted; run++ {
		kept := filepath.Join(dir, fmt.Sprintf("killed-%d.db", run))
		for {
			cmd := program(t, "replay", tape, "--config", config, "--store", kept)
			var out, errs bytes.Buffer
			cmd.Stderr = &errs
			pipe, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			// The moment is counted in what was printed, so that it is anywhere in the tape.
			limit := int64(rnd.IntN(len(want) * 5 / 4))
			_, _ = io.Copy(&out, io.LimitReader(pipe, limit))
			cut := int64(out.Len()) == limit
			if cut {
				time.Sleep(time.Duration(rnd.IntN(3000)) * time.Microsecond)
				_ = cmd.Process.Kill()
			} else {
				_, _ = io.Copy(&out, pipe)
			}
			err = cmd.Wait()
			if !strings.HasPrefix(want, out.String()) {
				t.Fatalf("after %d kills: %s\n%s", kills, errs.String(), difference(want, out.String()))
			}
			if err == nil && cut {
				continue // it was done before it could be killed
			}
			if err == nil {
				if out.String() != want {
					t.Fatalf("after %d kills: %s", kills, difference(want, out.String()))
				}
				break
			}
			if cmd.ProcessState.Exited() {
				t.Fatalf("exit %d: %s", cmd.ProcessState.ExitCode(), errs.String())
			}
			kills++
		}
		if code, report, errs := command(t, "", "verify", kept); code != exitDone {
			t.Fatalf("verify: %s%s", report, errs)
		}
		if err := os.Remove(kept); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d kills", kills)
}

// difference is the first line in which two outputs differ.
func difference(want, got string) string {
	w, g := bufio.NewScanner(strings.NewReader(want)), bufio.NewScanner(strings.NewReader(got))
	for n := 1; ; n++ {
		more := w.Scan()
		if g.Scan() || more {
			if w.Text() != g.Text() {
				return fmt.Sprintf("record line %d: want\n%s\ngot\n%s", n, w.Text(), g.Text())
			}
			continue
		}
		return "no difference"
	}
}
