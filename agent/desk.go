package main

import (
	"context"

	"benchtally/agent/config"
	"benchtally/agent/panel"
	"benchtally/agent/report"
	"benchtally/agent/station"
)

// shopOf is what the page offers for choosing.
func shopOf(c *config.Config) panel.Shop {
	return panel.Shop{Specs: c.Specs, Standards: c.Standards, Reasons: c.Order.ScrapReasons, Language: c.Page.Language}
}

// desk is what the page asks of the agent. Papers and pictures read many records:
// one at a time, so that they cannot keep the bench from its work.
func (a *agent) desk() panel.Desk {
	made := papers{
		archive: archive{kept: a.store, rules: stationRules(a.cfg)}, cfg: a.cfg, jobs: a.jobs, view: a.health.seen, now: a.now,
	}
	var drawn latest[report.Series]
	var looked latest[[]station.CaliperEntry]
	return panel.Desk{
		Act: func(ctx context.Context, action station.Action) (string, error) {
			records, err := a.act(ctx, action)
			return refusal(records), err
		},
		Scan: a.scan,
		Jobs: a.jobs.All,
		Paper: func(_ context.Context, r panel.PaperRequest) (panel.Paper, error) {
			a.reading.Lock()
			defer a.reading.Unlock()
			return made.paper(r)
		},
		Series: func(context.Context) (report.Series, error) {
			a.reading.Lock()
			defer a.reading.Unlock()
			v := a.health.seen()
			return drawn.of(v.Seq, func() (report.Series, error) { return made.series(v.Cage, v.Strokes) })
		},
		Checks: func(context.Context) ([]station.CaliperEntry, error) {
			a.reading.Lock()
			defer a.reading.Unlock()
			return looked.of(a.health.seen().Seq, made.checks)
		},
		Door: a.door,
	}
}

// latest is what was made of the records last; it holds until there are more.
type latest[T any] struct {
	seq  uint64
	made T
}

func (l *latest[T]) of(seq uint64, make func() (T, error)) (T, error) {
	if l.seq == seq {
		return l.made, nil
	}
	made, err := make()
	if err == nil {
		l.seq, l.made = seq, made
	}
	return made, err
}
