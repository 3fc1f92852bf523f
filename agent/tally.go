package main

import (
	"errors"
	"sync"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/metrics"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// tally counts what happened since the agent was started, for who watches many
// presses. It is safe for concurrent use.
type tally struct {
	mu       sync.Mutex
	strokes  uint64
	first    uint64 // crimps of a piece's first stroke
	again    uint64
	readings uint64
	verdicts map[crimp.Outcome]uint64
	refused  map[record.Source]uint64
	faults   map[record.Source]uint64 // that began
	commits  uint64
	failed   uint64 // commits that kept nothing
	full     uint64 // of those: for want of room

	commit *metrics.Histogram // seconds that a batch took until it was on disk
}

// commitBounds are seconds: a solid-state disk takes 1 ms, most cards 6 to 10 ms,
// poor ones hundreds, and one that dies tens of seconds.
var commitBounds = []float64{0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 30}

func newTally() *tally {
	return &tally{
		verdicts: map[crimp.Outcome]uint64{}, refused: map[record.Source]uint64{}, faults: map[record.Source]uint64{},
		commit: metrics.NewHistogram(commitBounds...),
	}
}

// count takes in what was kept.
func (t *tally) count(records []record.Record) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i := range records {
		switch r := &records[i]; r.Kind {
		case record.Stroke:
			t.strokes++
			switch {
			case r.Crimp == 1:
				t.first++
			case r.Crimp > 1:
				t.again++
			}
		case record.Reading:
			t.readings++
		case record.Verdict:
			t.verdicts[r.Outcome]++
		case record.Refused:
			t.refused[r.Source]++
		case record.Fault:
			if r.State == record.On {
				t.faults[r.Source]++
			}
		case record.Start, record.Finish, record.Set, record.Load, record.Retract, record.Measure, record.Correction,
			record.Care, record.Zero, record.Undo, record.Dry, record.Same, record.Operator,
			record.Turn, record.Lot, record.Check, record.Proof, record.Scrap, record.Standard:
		}
	}
}

// committed takes in how a commit went.
func (t *tally) committed(took time.Duration, err error) {
	t.commit.Observe(took.Seconds())
	t.mu.Lock()
	defer t.mu.Unlock()
	t.commits++
	if err != nil {
		t.failed++
	}
	if errors.Is(err, store.ErrFull) {
		t.full++
	}
}

// timedLog is a log of the station whose commits are timed.
type timedLog struct {
	station.Log
	tally *tally
}

// Append keeps a batch.
func (l timedLog) Append(b station.Batch) error {
	began := time.Now()
	err := l.Log.Append(b)
	l.tally.committed(time.Since(began), err)
	return err
}
