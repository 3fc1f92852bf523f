package main

import (
	"context"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"
)

// What a message may take of the log: so many lines in an hour, and one more that
// says how often it came beyond that. Some forty different messages are made here,
// and those that can come again and again are a handful, so a day in which
// everything flaps is some thousand lines. Our own figures, no source.
const (
	steadyLines = 20
	steadyHour  = time.Hour
)

// steady is a log that stays small whatever happens: a cable that flaps, a broker
// that goes and comes each second. It holds a message back that has come too often
// within an hour, and passes the latest of them on when the hour is over, with how
// many there were, so that the log ends with how things stand.
type steady struct {
	next slog.Handler
	*steadyCounts
}

// steadyCounts are shared by a handler and all that were made of it.
type steadyCounts struct {
	lines int
	hour  time.Duration

	mu  sync.Mutex
	of  map[string]*steadyCount // by level, message, and which device
	now func() time.Time
}

// steadyCount is one message.
type steadyCount struct {
	since  time.Time // when its hour began
	passed int
	held   int
	latest func(held int) // passes the latest one on that was held back
}

func newSteady(next slog.Handler) *steady {
	return &steady{next, &steadyCounts{lines: steadyLines, hour: steadyHour, of: map[string]*steadyCount{}, now: time.Now}}
}

// Enabled reports whether the handler behind it wants the level.
func (s *steady) Enabled(ctx context.Context, l slog.Level) bool { return s.next.Enabled(ctx, l) }

// WithAttrs is this log with attributes.
func (s *steady) WithAttrs(as []slog.Attr) slog.Handler {
	return &steady{s.next.WithAttrs(as), s.steadyCounts}
}

// WithGroup is this log with a group.
func (s *steady) WithGroup(name string) slog.Handler {
	return &steady{s.next.WithGroup(name), s.steadyCounts}
}

// Handle passes a message on, or holds it back.
func (s *steady) Handle(ctx context.Context, r slog.Record) error {
	key := r.Level.String() + " " + r.Message // messages are constant, what varies are attributes
	r.Attrs(func(a slog.Attr) bool {
		if a.Key == "source" || a.Key == "part" { // of which there are a few
			key += " " + a.Value.String()
		}
		return true
	})
	s.mu.Lock()
	c := s.of[key]
	if c == nil {
		c = &steadyCount{}
		s.of[key] = c
	}
	now := s.now()
	if since := now.Sub(c.since); c.held == 0 && (since >= s.hour || since < 0) {
		c.since, c.passed = now, 0
	}
	if c.passed < s.lines {
		c.passed++
		s.mu.Unlock()
		return s.next.Handle(ctx, r)
	}
	c.held++
	held := r.Clone()
	c.latest = func(n int) {
		held.AddAttrs(slog.Int("times", n), slog.Duration("within", s.hour))
		_ = s.next.Handle(context.WithoutCancel(ctx), held) // there is nowhere else to say it
	}
	if c.held == 1 {
		time.AfterFunc(max(c.since.Add(s.hour).Sub(now), 0), func() { s.release(key) })
	}
	s.mu.Unlock()
	return nil
}

// release passes on what was held back of a message in the hour that ends.
func (s *steady) release(key string) {
	s.mu.Lock()
	c := s.of[key]
	latest, held := c.latest, c.held
	c.since, c.passed, c.held, c.latest = s.now(), 0, 0, nil
	s.mu.Unlock()
	if latest != nil {
		latest(held)
	}
}

// flush passes on what is held back of all messages, at the end of the program.
func (s *steady) flush() {
	s.mu.Lock()
	keys := slices.Sorted(maps.Keys(s.of))
	s.mu.Unlock()
	for _, key := range keys {
		s.release(key)
	}
}
