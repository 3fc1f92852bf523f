package main

import (
	"log/slog"

	"benchtally/agent/station"
)

// What one tidying does at most, so that nothing else waits for it long.
const (
	tidyRecords = 1000
	tidyOrders  = 32
)

// tidy lets records go that are older than the shop wants to keep them, and what is
// kept of orders that were left long ago. It says whether it changed anything, or has
// not yet seen all orders.
func (a *agent) tidy() (more bool) {
	a.tidying.Lock()
	defer a.tidying.Unlock()
	if a.cfg.Store.Keep > 0 {
		n, err := a.store.Prune(a.health.seen().Clock.Now.Add(-a.cfg.Store.Keep), tidyRecords)
		if err != nil {
			slog.Warn("old records stay", "err", err)
		} else if n > 0 {
			slog.Info("old records let go", "records", n)
		}
		more = n > 0
	}
	now, before := a.store.Last(), a.condensed
	next, err := a.store.Condense(before, tidyOrders, func(_ string, kept []byte) []byte { return station.Faded(kept, now) })
	if err != nil {
		slog.Warn("all of old orders stays", "err", err)
		return more
	}
	a.condensed = next
	return more || next != ""
}
