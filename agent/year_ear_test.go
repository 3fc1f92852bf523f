package main

import (
	"bytes"
	"fmt"
	"maps"
	"strconv"
	"strings"
	"sync"
)

// yearEar is the plant's side: what the broker acknowledged, by its own count.
type yearEar struct {
	mu      sync.Mutex
	seen    []uint64 // a bit for each seq
	last    uint64
	repeats int
	kinds   map[string]int // first arrivals
	faults  []string
}

func newYearEar(records int) *yearEar {
	e := &yearEar{seen: make([]uint64, records/64+1024), kinds: map[string]int{}}
	for i := range e.seen {
		e.seen[i] = 1 // touched now
	}
	clear(e.seen)
	return e
}

func (e *yearEar) fault(format string, args ...any) {
	if len(e.faults) < 20 {
		e.faults = append(e.faults, fmt.Sprintf(format, args...))
	}
}

// hear takes a message. Events come in order; those that come again are counted.
func (e *yearEar) hear(topic string, payload []byte) {
	_, kind, ok := strings.Cut(topic, "/event/")
	if !ok {
		return
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	_, rest, ok := bytes.Cut(payload, []byte(`"sequence":"`))
	if !ok || len(rest) < 20 {
		e.fault("an event without a sequence: %s", payload)
		return
	}
	seq, err := strconv.ParseUint(string(rest[:20]), 10, 64)
	if err != nil || seq == 0 || seq/64 >= uint64(len(e.seen)) {
		e.fault("sequence %s: %v", rest[:20], err)
		return
	}
	bit := uint64(1) << (seq % 64)
	switch first := e.seen[seq/64]&bit == 0; {
	case !first:
		e.repeats++
		return
	case seq != e.last+1:
		e.fault("event %d came behind %d", seq, e.last)
	}
	e.seen[seq/64] |= bit
	e.last = max(e.last, seq)
	if kind == "fault" && !bytes.Contains(payload, []byte(`"source":"switch"`)) && !bytes.Contains(payload, []byte(`"source":"caliper"`)) {
		kind = "fault of the plant"
	}
	e.kinds[kind]++
}

func (e *yearEar) copy() (last uint64, repeats int, kinds map[string]int, faults []string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.last, e.repeats, maps.Clone(e.kinds), e.faults
}
