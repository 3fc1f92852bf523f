package main

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"strconv"
	"strings"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// logCommand shows records of the running agent, or of the store when none runs.
type logCommand struct {
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	Since  string `placeholder:"T" help:"From this time on: 2026-03-02, 2026-03-02T06:00:00Z, or 8h for the last eight hours."`
	Until  string `placeholder:"T" help:"Before this time."`
	Order  string `placeholder:"ID" help:"Of this order."`
	Piece  string `placeholder:"ID" help:"Of this piece, <order>/<n>."`
	CSV    bool   `name:"csv" xor:"form" help:"As a table for a spreadsheet."`
	JSON   bool   `name:"json" xor:"form" help:"As JSON, one record a line."`
}

// Run prints the records chosen.
func (c *logCommand) Run(e env) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	query := url.Values{"order": {c.Order}, "piece": {c.Piece}}
	for name, text := range map[string]string{"since": c.Since, "until": c.Until} {
		at, err := parseWhen(text, time.Now())
		if err != nil {
			return invalid{fmt.Errorf("--%s %w", name, err)}
		}
		if !at.IsZero() {
			query.Set(name, at.Format(time.RFC3339Nano))
		}
	}
	out := bufio.NewWriter(e.stdout)
	show, done := c.printer(out)
	if err := readLog(e, cfg, query, show); err != nil {
		return err
	}
	return errors.Join(done(), out.Flush())
}

// printer shows records in the form asked for.
func (c *logCommand) printer(out *bufio.Writer) (show func(record.Record, time.Time) error, done func() error) {
	done = func() error { return nil }
	switch {
	case c.CSV:
		table := csv.NewWriter(out)
		err := table.Write(columns)
		return func(r record.Record, corrected time.Time) error {
				return errors.Join(err, table.Write(row(r, corrected)))
			},
			func() error { table.Flush(); return errors.Join(err, table.Error()) }
	case c.JSON:
		return func(r record.Record, corrected time.Time) error {
			_, err := out.Write(append(appendCorrected(nil, r, corrected), '\n'))
			return err
		}, done
	default:
		return func(r record.Record, corrected time.Time) error {
			const form = "2006-01-02 15:04:05"
			at, text := r.At.Local().Format(form), tell(r)
			if behind := corrected.Sub(r.At); !corrected.IsZero() && behind < 0 {
				text += fmt.Sprintf(" (the clock was %s ahead and not set: about %s)", station.Span(-behind), corrected.Local().Format(form))
			} else if !corrected.IsZero() {
				text += fmt.Sprintf(" (the clock was %s behind and not set: about %s)", station.Span(behind), corrected.Local().Format(form))
			}
			_, err := fmt.Fprintf(out, "%8d  %s  %s\n", r.Seq, at, text)
			return err
		}, done
	}
}

// appendCorrected appends a record as JSON. Where it happened at another time than
// the clock showed, that is one key more, which no record has as it is kept.
func appendCorrected(b []byte, r record.Record, corrected time.Time) []byte {
	b = r.AppendJSON(b)
	if corrected.IsZero() {
		return b
	}
	b = append(b[:len(b)-1], `,"corrected_at":"`...)
	return append(corrected.UTC().AppendFormat(b, record.TimeLayout), `"}`...)
}

// readLog gives the records chosen, from the running agent or from the store, each
// with the time at which it happened, where that is known to be another than the
// clock showed.
func readLog(e env, cfg *config.Config, query url.Values, show func(record.Record, time.Time) error) error {
	body, kept, err := askOrOpen(e.ctx, cfg.Store.Path, "/log", query)
	if err != nil {
		return err
	}
	if kept != nil {
		want, err := parseSelection(query)
		if err == nil {
			err = want.from(kept, show)
		}
		return errors.Join(err, kept.Close())
	}
	defer func() { _ = body.Close() }() // it was only read
	lines := json.NewDecoder(body)
	for {
		var line struct {
			record.Record
			Corrected time.Time `json:"corrected_at"`
		}
		if err := lines.Decode(&line); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return fmt.Errorf("read the records of the running agent: %w", err)
		}
		if err := show(line.Record, line.Corrected); err != nil {
			return err
		}
	}
}

// selection chooses records.
type selection struct {
	since, until time.Time
	order, piece string
	last         uint64 // of the latest records only; 0: of all
}

func parseSelection(q url.Values) (s selection, err error) {
	s.order, s.piece = q.Get("order"), q.Get("piece")
	for name, at := range map[string]*time.Time{"since": &s.since, "until": &s.until} {
		if text := q.Get(name); text != "" {
			if *at, err = time.Parse(time.RFC3339Nano, text); err != nil {
				return s, fmt.Errorf("%s: %w", name, err)
			}
		}
	}
	if text := q.Get("last"); text != "" {
		if s.last, err = strconv.ParseUint(text, 10, 64); err != nil {
			return s, fmt.Errorf("last: %w", err)
		}
	}
	return s, nil
}

// has chooses by the time at which a record happened.
func (s selection) has(r record.Record, at time.Time) bool {
	return (s.since.IsZero() || !at.Before(s.since)) &&
		(s.until.IsZero() || at.Before(s.until)) &&
		(s.order == "" || r.Order == s.order || strings.HasPrefix(r.Piece, s.order+"/")) &&
		(s.piece == "" || r.Piece == s.piece)
}

// from gives the records of a store that are chosen. Damaged ones are passed
// over and told in the end.
func (s selection) from(kept *store.Store, show func(r record.Record, corrected time.Time) error) error {
	lie, err := s.extents(kept)
	if err != nil {
		return err
	}
	var damage []error
	times := corrections{kept: kept}
	for _, e := range lie {
		for r, err := range kept.Records(max(e.From, 1) - 1) {
			if r.Seq > e.To {
				break
			}
			if errors.Is(err, store.ErrLost) {
				continue // it was told when the store was rescued
			}
			if err != nil {
				damage = append(damage, err)
				continue
			}
			at, other := times.of(r)
			if !s.has(r, at) {
				continue
			}
			if !other {
				at = time.Time{}
			}
			if err := show(r, at); err != nil {
				return err
			}
		}
	}
	if n := len(damage); n > 0 {
		return fmt.Errorf("%d records cannot be read, the first: %w", n, damage[0])
	}
	return nil
}

// extents is where the records that are chosen lie, others between them, in the order
// of their seq.
func (s selection) extents(kept *store.Store) ([]station.Extent, error) {
	lie, err := placesOf(kept, s.since, s.until)
	if err != nil {
		return nil, err
	}
	if last := kept.Last(); s.last > 0 && s.last < last {
		lie = station.Common(lie, []station.Extent{{From: last - s.last + 1, To: last}})
	}
	order := s.order
	if i := strings.LastIndexByte(s.piece, '/'); order == "" && i > 0 {
		order = s.piece[:i]
	}
	if order == "" {
		return lie, nil
	}
	of, err := station.ExtentsOf(&keeper{Store: kept}, order)
	return station.Common(lie, of), err
}

// parseWhen reads a time, a day, or how long before now.
func parseWhen(text string, now time.Time) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05", "2006-01-02T15:04", time.DateTime, time.DateOnly} {
		if at, err := time.ParseInLocation(layout, text, time.Local); err == nil {
			return at, nil
		}
	}
	if ago, err := time.ParseDuration(text); err == nil && ago >= 0 {
		return now.Add(-ago), nil
	}
	return time.Time{}, fmt.Errorf("%q: want a time such as 2026-03-02T06:00:00Z, a day such as 2026-03-02, or 8h for the last eight hours", text)
}
