package mqtt

import (
	"fmt"
	"slices"
	"sync"
	"testing"

	"benchtally/agent/record"
)

// box is an outbox in memory.
type box struct {
	mu      sync.Mutex
	events  []record.Event
	sent    uint64
	resends []uint64
	session uint64
	onSent  func(seq uint64) // with the lock held
	err     error            // of every call but NextSession
	noSess  error            // of NextSession
	reads   int              // calls of Unsent
}

var _ Outbox = (*box)(nil)

// newBox is an outbox with n unsent events.
func newBox(n int) *box {
	b := &box{}
	b.add(n)
	return b
}

// add adds n events.
func (b *box) add(n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for range n {
		seq := uint64(len(b.events) + 1)
		b.events = append(b.events, testEvent(seq))
	}
}

func testEvent(seq uint64) record.Event {
	return record.Event{
		Seq: seq,
		ID:  fmt.Sprintf("7f3a9c1e-b2d4-%d", seq),
		Record: fmt.Appendf(nil, `{"seq":%d,"at":"2026-03-02T06:12:03.417000Z","kind":"stroke","order":"A-1001","piece":"A-1001/%d","cage":"C-21","setting":120,"crimp":1,"held_ms":640}`,
			seq, seq),
	}
}

func (b *box) Unsent(after uint64, limit int) ([]record.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.reads++
	if b.err != nil {
		return nil, b.err
	}
	from := min(max(after, b.sent), uint64(len(b.events)))
	to := min(from+uint64(limit), uint64(len(b.events)))
	return slices.Clone(b.events[from:to]), nil
}

func (b *box) Sent(seq uint64) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.err != nil {
		return b.err
	}
	b.sent = max(b.sent, seq)
	if b.onSent != nil {
		b.onSent(seq)
	}
	return nil
}

func (b *box) Resends(limit int) ([]record.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	var events []record.Event
	for _, seq := range b.resends[:min(limit, len(b.resends))] {
		events = append(events, b.events[seq-1])
	}
	return events, b.err
}

func (b *box) Resent(seq uint64) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.resends = slices.DeleteFunc(b.resends, func(s uint64) bool { return s == seq })
	return b.err
}

func (b *box) NextSession() (uint64, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.noSess != nil {
		return 0, b.noSess
	}
	b.session++
	return b.session, nil
}

// again asks for events to be sent again.
func (b *box) again(seqs []uint64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.resends = append(b.resends, seqs...)
}

// cursor is the sequence up to which events are sent.
func (b *box) cursor() uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.sent
}

// fail makes calls fail from now on, or work again.
func (b *box) fail(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.err = err
}

func TestBoxGivesEventsOnce(t *testing.T) {
	b := newBox(5)
	if err := b.Sent(2); err != nil {
		t.Fatal(err)
	}
	events, err := b.Unsent(3, 10)
	if err != nil || len(events) != 2 || events[0].Seq != 4 {
		t.Fatalf("after 2 sent and 3 read: got %d events, first %v, %v; want 4 and 5", len(events), events[0].Seq, err)
	}
}
