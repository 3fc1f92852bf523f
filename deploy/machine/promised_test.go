//go:build linux

package machine

import (
	"encoding/json"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// A promise is something that was told outside of the machine, and how long the
// log of writes was when it was. What was told rests on writes that were in the
// log by then: it must survive every cut behind.
type promise[T any] struct {
	size int64
	of   T
}

// A count is what people and the plant were shown.
type count struct {
	cage    string
	strokes int // of the cage since its tear-down, which is never done here
	order   string
	pieces  int
}

// promises are all that were made by one machine.
type promises struct {
	t      *testing.T
	log    string // path
	mu     sync.Mutex
	events []promise[event]
	counts []promise[count]
	ids    map[uint64]map[string]string // id to record, of each sequence
	now    count                        // as it was shown last
}

func newPromises(t *testing.T) *promises {
	return &promises{t: t, ids: map[uint64]map[string]string{}}
}

// inherit takes over what was promised in an earlier life.
func (p *promises) inherit(earlier *promises) {
	for _, e := range earlier.events {
		p.events = append(p.events, promise[event]{0, e.of})
	}
	for _, c := range earlier.counts {
		p.counts = append(p.counts, promise[count]{0, c.of})
	}
	p.ids = earlier.ids
}

// heard is how many events came so far.
func (p *promises) heard() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.events)
}

// size is how long the log is now.
func (p *promises) size() int64 {
	info, err := os.Stat(p.log)
	if err != nil {
		p.t.Errorf("the log of writes: %v", err)
		return 0
	}
	return info.Size()
}

// hear takes an event that the broker got.
func (p *promises) hear(e event) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.events = append(p.events, promise[event]{p.size(), e})
	n := e.sequence()
	if p.ids[n] == nil {
		p.ids[n] = map[string]string{}
	}
	if had, ok := p.ids[n][e.ID]; ok && had != canonical(e.Data) {
		p.t.Errorf("event %s came with two contents:\n%s\n%s", e.ID, had, e.Data)
	}
	p.ids[n][e.ID] = canonical(e.Data)
}

// see takes a retained state.
func (p *promises) see(topic string, payload []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	var s struct {
		Cage     string
		Teardown int `json:"teardown_strokes"`
		Order    string
		Pieces   int
	}
	if json.Unmarshal(payload, &s) != nil {
		return // a will is empty
	}
	switch topic[strings.LastIndex(topic, "/")+1:] {
	case "cage":
		p.now.cage, p.now.strokes = s.Cage, s.Teardown
	case "work":
		p.now.order, p.now.pieces = s.Order, s.Pieces
	default:
		return
	}
	p.counts = append(p.counts, promise[count]{p.size(), p.now})
}

// show takes what `status --json` printed.
func (p *promises) show(status string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	var s standing
	if err := json.Unmarshal([]byte(status), &s); err != nil {
		p.t.Errorf("status: %v", err)
		return
	}
	p.counts = append(p.counts, promise[count]{p.size(), count{s.Cage.Cage, s.Cage.Teardown, s.Work.Order, s.Work.Pieces}})
}

// by are the promises that were made when the log had a size.
func by[T any](all []promise[T], size int64) (made []T) {
	for _, p := range all {
		if p.size <= size {
			made = append(made, p.of)
		}
	}
	return made
}

func (e event) sequence() uint64 {
	n, _ := strconv.ParseUint(e.Sequence, 10, 64)
	return n
}

// canonical is a JSON object with its keys in order.
func canonical(raw []byte) string {
	var v any
	dec := json.NewDecoder(strings.NewReader(string(raw)))
	dec.UseNumber()
	if err := dec.Decode(&v); err != nil {
		return "no JSON: " + string(raw)
	}
	text, err := json.Marshal(v)
	if err != nil {
		return "no JSON: " + string(raw)
	}
	return string(text)
}
