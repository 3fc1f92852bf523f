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
	var drawn struct {
		seq    uint64
		series report.Series
	}
	var looked struct {
		seq    uint64
		checks []station.CaliperEntry
	}
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
			if drawn.seq != v.Seq {
				s, err := made.series(v.Cage, v.Strokes)
				if err != nil {
					return report.Series{}, err
				}
				drawn.seq, drawn.series = v.Seq, s
			}
			return drawn.series, nil
		},
		Checks: func(context.Context) ([]station.CaliperEntry, error) {
			a.reading.Lock()
			defer a.reading.Unlock()
			if seq := a.health.seen().Seq; looked.seq != seq {
				all, err := made.checks()
				if err != nil {
					return nil, err
				}
				looked.seq, looked.checks = seq, all
			}
			return looked.checks, nil
		},
		Door: a.door,
	}
}
