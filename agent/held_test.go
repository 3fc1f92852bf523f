package main

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// balkingLog takes nothing until it is told to.
type balkingLog struct {
	station.Log
	balks chan bool
	now   bool
}

func (l *balkingLog) Append(b station.Batch) error {
	select {
	case l.now = <-l.balks:
	default:
	}
	if l.now {
		return errors.New("no space left on device")
	}
	return l.Log.Append(b)
}

// While nothing can be kept, what was counted and waits is told, and all of it is kept
// once it can be.
func TestHeld(t *testing.T) {
	kept, err := store.Open(filepath.Join(t.TempDir(), "bench.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = kept.Close() })
	log := &balkingLog{Log: &keeper{Store: kept}, balks: make(chan bool, 1)}
	s, err := station.Open(log, station.Rules{Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Places: 3, Every: 1})
	if err != nil {
		t.Fatal(err)
	}
	told := make(chan *panel.Held, 64)
	strokes := 0
	var b *bench
	b = newBench(s, time.Now, func(rs []record.Record, _ station.View) {
		for _, r := range rs {
			if r.Kind == record.Stroke {
				strokes++
			}
		}
		told <- b.held.Load()
	})
	log.balks <- true
	done := make(chan error, 1)
	go func() { done <- b.run(context.Background()) }()
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	for i := range 3 {
		b.put(context.Background(), station.Stroke{At: at.Add(time.Duration(i) * 10 * time.Second), Held: time.Second})
	}
	b.put(context.Background(), station.Reading{At: at.Add(time.Minute), Value: 1200 * crimp.Thousandth, Raw: "+1.2000"})
	for h := range told {
		if h != nil && h.Strokes == 3 && h.Other == 1 {
			if !strings.Contains(h.Why, "no space left on device") {
				t.Errorf("why: %q", h.Why)
			}
			break
		}
	}
	log.balks <- false
	for h := range told {
		if h == nil {
			break
		}
	}
	b.end()
	if err := <-done; err != nil || strokes != 3 {
		t.Errorf("%d strokes kept, %v", strokes, err)
	}
}
