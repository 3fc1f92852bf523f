//go:build linux

package machine

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"benchtally/deploy/machine/hand"
)

// TestStrokes presses through the kernel's own character device, with bounce,
// spikes and a burst, and wants exactly as many strokes counted. The machine's time
// goes by its instructions, else a busy host would make a spike as long as a stroke.
func TestStrokes(t *testing.T) {
	needMachine(t)
	dir, disk := t.TempDir(), t.TempDir()+"/disk"
	install(t, dir, installed("", 20*time.Millisecond, 100*time.Millisecond, 200*time.Millisecond)...)
	makeDisk(t, disk, dir, 64)
	g := boot(t, setting{data: disk, memory: 256, steady: true})
	g.ask(hand.Question{Do: hand.Start, Name: "agent", Args: []string{"/benchtally", "run", "--config", config}})
	now := func() (s standing) {
		t.Helper()
		if err := json.Unmarshal([]byte(g.run("/benchtally", "status", "--json", "--config", config)), &s); err != nil {
			t.Fatal(err)
		}
		return s
	}
	await(t, "the agent reads the switch", func() bool {
		a := g.hand.ask(hand.Question{Do: hand.Run, Args: []string{"/benchtally", "status", "--json", "--config", config}}, nil)
		var s standing
		return a.Code == 0 && json.Unmarshal([]byte(a.Out), &s) == nil && linkOK(s, "switch")
	})
	g.run("/benchtally", "do", `{"do":"load","cage":"C-21"}`, "--config", config)

	random := rand.New(rand.NewPCG(4, 4))
	var levels, spikes int
	began := time.Now()
	for done := 0; done < *strokes; {
		var course []hand.Level
		for range min(10, *strokes-done) {
			s := bouncing(random, 250*time.Millisecond, time.Duration(120+random.IntN(300))*time.Millisecond)
			s.longest = 60 * time.Millisecond // bounce comes on top of it; a stroke lasts 100 ms
			spikes += s.spikes
			course = append(course, s.course(random)...)
			done++
		}
		g.ask(hand.Question{Do: hand.Press, Line: "GPIO17", Course: course})
		levels += len(course)
	}
	t.Logf("%d strokes with %d level changes, %d spikes among them, in %.1f s", *strokes, levels, spikes, time.Since(began).Seconds())
	await(t, fmt.Sprintf("%d strokes are counted", *strokes), func() bool { return now().Cage.Teardown >= *strokes })

	// Bursts that are no strokes: shorter than a stroke, however many.
	var burst []hand.Level
	for range 500 {
		burst = append(burst, hand.Level{After: 200 * time.Microsecond}, hand.Level{After: 200 * time.Microsecond, High: true})
	}
	g.ask(hand.Question{Do: hand.Press, Line: "GPIO17", Course: burst})
	last := bouncing(random, time.Second, 300*time.Millisecond)
	g.ask(hand.Question{Do: hand.Press, Line: "GPIO17", Course: last.course(random)})
	await(t, "the stroke behind the burst is counted", func() bool { return now().Cage.Teardown > *strokes })
	g.ask(hand.Question{Do: hand.Signal, Name: "agent", Number: 15})
	if a := g.ask(hand.Question{Do: hand.Wait, Name: "agent"}); a.Code != 0 {
		t.Errorf("the agent ended with %d", a.Code)
	}
	records, err := parseLog(g.run("/benchtally", "log", "--json", "--config", config))
	if err != nil {
		t.Fatal(err)
	}
	counted := foldOf(records)
	if got := counted.teardown["C-21"]; got != *strokes+1 {
		t.Errorf("%d strokes pressed, %d counted", *strokes+1, got)
		for _, l := range records {
			t.Log(l.raw)
		}
	}
	for _, l := range records {
		if l.Kind == "fault" {
			t.Logf("a fault was told: %s", l.raw)
		}
	}
	if s := now(); s.Running || len(counted.differs(s)) > 0 {
		t.Errorf("at the end: %+v, %v", s, counted.differs(s))
	}
}

// linkOK says whether the status shows that something works.
func linkOK(s standing, name string) bool {
	for _, l := range s.Links {
		if l.Name == name {
			return l.OK
		}
	}
	return false
}
