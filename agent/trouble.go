package main

import (
	"context"
	"errors"
	"os"

	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// asideTrouble tells of the latest rescue of the store as long as the damaged file
// lies where it was put: whoever takes it away has seen it.
func (a *agent) asideTrouble() string {
	for i := len(a.rescues) - 1; i >= 0; i-- {
		if r := a.rescues[i]; r.Backup != "" {
			continue // somebody did that
		}
		if _, err := os.Lstat(a.rescues[i].From); err == nil {
			return a.rescues[i].Sentence()
		}
	}
	return ""
}

// storeTrouble is what is wrong with the store while records are kept; "": nothing.
func (a *agent) storeTrouble() string {
	why, _ := a.storeTroubles()
	return why
}

// storeTroubles is the same with which of the troubles it is, 0: none.
func (a *agent) storeTroubles() (why string, kind int) {
	for i, trouble := range []func() string{a.journalTrouble, a.asideTrouble} {
		if why := trouble(); why != "" {
			return why, i + 1
		}
	}
	return "", 0
}

// judgeStore tells the bench when something is wrong with the store, something else,
// and nothing any more.
func (a *agent) judgeStore(ctx context.Context) {
	a.store.Retry()
	if _, why := a.store.Trouble(); errors.Is(why, store.ErrCorrupt) {
		a.suspect(why)
		return
	}
	if a.bench.trouble.Load() != nil {
		a.troubled = unjudged
		return // nothing at all can be kept; that is told when it can again
	}
	why, kind := a.storeTroubles()
	if kind == a.troubled {
		return // told; a number in it that falls is not told each time
	}
	known := a.health.seen().Faults[record.Store]
	switch {
	case kind != 0 && known != why:
		a.bench.put(ctx, station.Fault{At: a.now(), Source: record.Store, On: true, Reason: why})
	case kind == 0 && known != "":
		a.bench.put(ctx, station.Fault{At: a.now(), Source: record.Store, Reason: "nothing is wrong with the store any more"})
	}
	a.troubled = kind
}

// unjudged is a kind of trouble that nothing has.
const unjudged = -1
