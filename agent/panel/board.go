package panel

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"benchtally/agent/words"
)

const (
	maxWatchers = 64              // pages that are kept fresh at once
	staleAfter  = 3 * time.Second // without a snapshot; panel.js has the same number
)

// Board holds the newest snapshot and tells the pages that watch. It is safe
// for concurrent use and starts no goroutine.
type Board struct {
	press string
	shop  Shop

	mu      sync.Mutex
	now     Snapshot
	version uint64        // of now; 0: nothing was published yet
	seen    time.Time     // when now was published, by this machine's own clock
	changed chan struct{} // closed with the next Publish or Tell
	told    Scanned       // what became of a label that was scanned beside the page
	tells   uint64        // how often that was told

	drawing sync.Mutex
	drawn   map[string]fragment // by language

	watchers atomic.Int32
}

// fragment is the page's live part as it was drawn from one version.
type fragment struct {
	version uint64
	html    []byte
	sum     string // two fragments that look the same have the same
}

// NewBoard is a board for a press of a shop.
func NewBoard(press string, shop Shop) *Board {
	return &Board{
		press: press, shop: shop, now: Snapshot{Press: press}, seen: time.Now(),
		changed: make(chan struct{}), drawn: map[string]fragment{},
	}
}

// scene is a snapshot in a language.
func (b *Board) scene(s Snapshot, language string) scene {
	shop := b.shop
	shop.Language = language
	return scene{Snapshot: s, t: words.In(language), shop: shop}
}

// Publish shows a snapshot from now on. It never blocks: a page that is slow
// misses what lay between. Publish with every change and at least once a
// second; after three seconds without one, every page says that its data is old.
func (b *Board) Publish(s Snapshot) {
	if s.Press == "" {
		s.Press = b.press
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now, b.seen = s, time.Now()
	b.version++
	close(b.changed)
	b.changed = make(chan struct{})
}

// Tell shows on all pages what became of a label that was scanned beside them.
func (b *Board) Tell(s Scanned) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.told = s
	b.tells++
	close(b.changed)
	b.changed = make(chan struct{})
}

// latest is what was told last, and how often anything was.
func (b *Board) latest() (Scanned, uint64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.told, b.tells
}

// Now is the newest snapshot.
func (b *Board) Now() Snapshot {
	s, _, _ := b.newest()
	return s
}

// newest is the newest snapshot, its version and what is closed when it is no
// longer the newest.
func (b *Board) newest() (Snapshot, uint64, <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now, b.version, b.changed
}

// age is how long ago the newest snapshot came.
func (b *Board) age() time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return time.Since(b.seen)
}

// live draws the part of the page that follows the station. All watchers of one
// language share one drawing of a version.
func (b *Board) live(language string) (f fragment, changed <-chan struct{}, err error) {
	b.drawing.Lock()
	defer b.drawing.Unlock()
	s, version, changed := b.newest()
	if f := b.drawn[language]; f.html != nil && f.version == version {
		return f, changed, nil
	}
	var html bytes.Buffer
	if err := templates().ExecuteTemplate(&html, "fragment", newMoment(frame{scene: b.scene(s, language)})); err != nil {
		return fragment{}, nil, fmt.Errorf("draw the page: %w", err)
	}
	sum := sha256.Sum256(html.Bytes())
	f = fragment{version: version, html: html.Bytes(), sum: hex.EncodeToString(sum[:])}
	b.drawn[language] = f
	return f, changed, nil
}

// join counts a watcher in, if there is room.
func (b *Board) join() bool {
	if b.watchers.Add(1) > maxWatchers {
		b.watchers.Add(-1)
		return false
	}
	return true
}

func (b *Board) leave() { b.watchers.Add(-1) }

// Watched says whether anybody watches.
func (b *Board) Watched() bool { return b.watchers.Load() > 0 }
