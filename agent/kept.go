package main

import (
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// keptFlags choose judged crimps from the records of the running agent, or of
// its store when none runs: what the commands of the measurement room work on
// when no file is named.
type keptFlags struct {
	Config string `placeholder:"FILE" help:"Without a file of values: take them from the records of this configuration's station; ${config}."`
	Order  string `placeholder:"ID" help:"Of this order."`
	Cage   string `placeholder:"ID" help:"Crimped with this die cage."`
	Spec   string `placeholder:"ID" help:"To this specification."`
	Since  string `placeholder:"T" help:"From this time on: 2026-03-02, 2026-03-02T06:00:00Z, or 8h for the last eight hours."`
	Until  string `placeholder:"T" help:"Before this time."`
}

// alone is a fault when a file is named beside flags that choose records.
func (f keptFlags) alone(file string) error {
	if file != "" && f != (keptFlags{}) {
		return invalid{fmt.Errorf("%s has its values, and --config, --order, --cage, --spec, --since and --until choose records: want one or the other", file)}
	}
	return nil
}

// load reads the configuration that names the station.
func (f keptFlags) load() (*config.Config, error) {
	if f.Config != "" {
		return loadConfig(f.Config)
	}
	file := defaultConfig()
	if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		return nil, invalid{fmt.Errorf("no values are named, and there is no station at %s: write what to read behind the flags, or a station's configuration with --config", file)}
	}
	return loadConfig(file)
}

// judged are the crimps chosen, in the order of their strokes; crimp 0 is any,
// 1 the first on a piece. None at all is a fault.
func (f keptFlags) judged(e env, crimp int) ([]station.Judged, *config.Config, error) {
	history, cfg, err := f.history(e)
	if err != nil {
		return nil, nil, err
	}
	all := slices.DeleteFunc(history.Judged(), func(j station.Judged) bool { return crimp != 0 && j.Crimp != crimp })
	if len(all) == 0 {
		return nil, nil, invalid{fmt.Errorf("no measured crimp%s is in the records of %s: benchtally log shows what there is", f.told(), cfg.Store.Path)}
	}
	return all, cfg, nil
}

// history folds the records of a station to what is chosen. What a crimp was is
// told by all records up to it.
func (f keptFlags) history(e env) (*station.History, *config.Config, error) {
	cfg, err := f.load()
	if err != nil {
		return nil, nil, err
	}
	since, until, err := f.times()
	if err != nil {
		return nil, nil, err
	}
	history, err := station.NewHistory(stationRules(cfg), func(order, cage, spec string, at time.Time) bool {
		return (f.Order == "" || order == f.Order) && (f.Cage == "" || cage == f.Cage) && (f.Spec == "" || spec == f.Spec) &&
			(since.IsZero() || !at.Before(since)) && (until.IsZero() || at.Before(until))
	})
	if err != nil {
		return nil, nil, err
	}
	return history, cfg, readLog(e, cfg, url.Values{}, func(r record.Record, corrected time.Time) error {
		if !corrected.IsZero() {
			r.At, r.Clock = corrected, station.Corrected
		}
		return history.Add(r)
	})
}

// times are the bounds in time; zero: none.
func (f keptFlags) times() (since, until time.Time, err error) {
	now := time.Now()
	since, err1 := parseWhen(f.Since, now)
	until, err2 := parseWhen(f.Until, now)
	if err1 != nil {
		err1 = fmt.Errorf("--since %w", err1)
	}
	if err2 != nil {
		err2 = fmt.Errorf("--until %w", err2)
	}
	if err := errors.Join(err1, err2); err != nil {
		return since, until, invalid{err}
	}
	return since, until, nil
}

// told says what was chosen.
func (f keptFlags) told() string {
	var told string
	for _, c := range []struct{ word, value string }{
		{"of order", f.Order}, {"with cage", f.Cage}, {"to", f.Spec}, {"since", f.Since}, {"until", f.Until},
	} {
		if c.value != "" {
			told += " " + c.word + " " + c.value
		}
	}
	return told
}

// one is what all of the crimps have in common, by key; more than one of it is a
// fault that says how to choose.
func one(crimps []station.Judged, what, flag string, key func(station.Judged) string) error {
	var seen []string
	for _, j := range crimps {
		if k := key(j); !slices.Contains(seen, k) {
			seen = append(seen, k)
		}
	}
	if len(seen) < 2 {
		return nil
	}
	const most = 6
	names := strings.Join(seen[:min(most, len(seen))], ", ")
	if len(seen) > most {
		names += " …"
	}
	return invalid{fmt.Errorf("these crimps are of %d %s, %s: choose one with %s", len(seen), what, names, flag)}
}

// latestSetUp are the crimps of the latest set-up, of one cage with one
// specification: loading a cage and taking it apart begin its offset anew.
func latestSetUp(crimps []station.Judged) ([]station.Judged, error) {
	if err := one(crimps, "cages", "--cage or --order", func(j station.Judged) string { return j.Cage }); err != nil {
		return nil, err
	}
	if err := one(crimps, "specifications", "--spec or --order", func(j station.Judged) string { return j.Spec.ID }); err != nil {
		return nil, err
	}
	last := crimps[len(crimps)-1].SetUp
	return slices.DeleteFunc(crimps, func(j station.Judged) bool { return j.SetUp != last }), nil
}

// inMM is nanometres as the records have lengths, millimetres.
func inMM(nm float64) float64 { return nm / 1e6 }

// pieceIDs are the ids of the crimps' pieces, to find them again.
func pieceIDs(crimps []station.Judged) []string {
	ids := make([]string, len(crimps))
	for i, j := range crimps {
		ids[i] = j.Piece
	}
	return ids
}

// readings are all readings of the latest crimp of each piece chosen that were
// not withdrawn, by whoever took them: a piece that was measured again has all of
// them. None at all is a fault.
func (f keptFlags) readings(e env) ([]station.Read, error) {
	history, cfg, err := f.history(e)
	if err != nil {
		return nil, err
	}
	all := history.Reads()
	if len(all) == 0 {
		return nil, invalid{fmt.Errorf("no reading%s is in the records of %s: benchtally log shows what there is", f.told(), cfg.Store.Path)}
	}
	return all, nil
}
