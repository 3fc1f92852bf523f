package main

import (
	"errors"
	"fmt"
	"log/slog"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/station"
	"benchtally/store"
)

// rescueSaid is how often the log says how far a rescue has come.
const rescueSaid = 15 * time.Second

// openSound opens the store and folds it. One that is damaged is set aside, what is left of it
// is rescued, and the work goes on with that.
func openSound(cfg *config.Config, rules station.Rules, now func() time.Time, log func(*store.Store) station.Log) (*store.Store, *station.Station, error) {
	path := cfg.Store.Path
	if err := store.Recover(path); err != nil {
		return nil, nil, err
	}
	seen := store.See(path)
	kept, s, err := openOnce(path, rules, log)
	if !errors.Is(err, store.ErrCorrupt) {
		if errors.Is(err, store.ErrNewer) {
			err = invalid{err} // a start once more would not mend it
		}
		return kept, s, err
	}
	slog.Error("the store is damaged; what is left of it is being rescued", "err", err)
	var told time.Time
	report, aside := store.SetAside(path, seen, err, store.RescueOptions{Now: now(), Progress: func(done, all int64) {
		if at := time.Now(); at.Sub(told) > rescueSaid {
			told = at
			slog.Info("rescuing the store", "pages", done, "of", all)
		}
	}})
	if aside != nil {
		return nil, nil, errors.Join(err, aside)
	}
	if err := store.Clear(path); err != nil {
		slog.Warn("the store will be looked through once more", "err", err)
	}
	slog.Error("the store was set aside", "aside", report.From, "records", report.Records, "lost", report.LostCount, "ranges", fmt.Sprint(report.Lost))
	for _, line := range report.Doubts {
		slog.Warn("not certain of the rescued store", "what", line)
	}
	return openOnce(path, rules, log)
}

// openOnce opens the store and folds it.
func openOnce(path string, rules station.Rules, log func(*store.Store) station.Log) (*store.Store, *station.Station, error) {
	if err := store.Examine(path); err != nil {
		return nil, nil, err
	}
	kept, err := store.Open(path, store.Options{})
	if err != nil {
		return nil, nil, err
	}
	s, err := station.Open(log(kept), rules)
	if err != nil {
		return nil, nil, errors.Join(err, kept.Close())
	}
	return kept, s, nil
}

// suspect ends the agent because its store was found damaged in the middle of the
// work, so that the next start sets it aside. What has come in is kept before, if the
// store still takes anything.
func (a *agent) suspect(why error) {
	if err := store.Suspect(a.cfg.Store.Path, why); err != nil {
		slog.Error("the next start will not know that the store is damaged", "err", err)
	}
	a.fail(fmt.Errorf("start benchtally again, it then sets the damaged store aside: %w", why))
}
