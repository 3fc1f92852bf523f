package main

import (
	"bytes"
	"context"
	"fmt"
	"os/exec"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
)

// gap is a range of sequences that is missing of one press.
type gap struct {
	Source, Store string
	First, Last   int64
	Times         int // that it was asked for, this one included
}

// watchGaps looks for gaps at once and every so often until ctx ends.
func (c *collector) watchGaps(ctx context.Context) {
	for said := ""; ctx.Err() == nil; sleep(ctx, c.look) {
		err := c.askForGaps(ctx)
		if err != nil && err.Error() != said && ctx.Err() == nil {
			c.log.Warn("gaps cannot be looked for", "err", err)
		}
		if said = ""; err != nil {
			said = err.Error()
		}
	}
}

// askForGaps has presses send again what is missing and was not asked for
// lately; the database knows both.
func (c *collector) askForGaps(ctx context.Context) error {
	db, err := pgx.ConnectConfig(ctx, c.database)
	if err != nil {
		return err
	}
	defer db.Close(context.WithoutCancel(ctx)) //nolint:errcheck // each statement was its own
	rows, err := db.Query(ctx, "SELECT source, store, first, last, times FROM ask_for($1::interval, $2::interval)", c.older, c.again)
	if err != nil {
		return unmade(err)
	}
	gaps, err := pgx.CollectRows(rows, pgx.RowToStructByPos[gap])
	if err != nil {
		return unmade(err)
	}
	for _, g := range gaps {
		answer := "printed"
		if c.ask == "" {
			_, err = fmt.Fprintf(c.out, "missing of %s, run there: benchtally resend --from %d --to %d\n", g.Source, g.First, g.Last)
		} else {
			answer = c.askFor(ctx, g)
			_, err = db.Exec(ctx, "UPDATE asked SET answer = $5 WHERE source = $1 AND store = $2 AND first = $3 AND last = $4",
				g.Source, g.Store, g.First, g.Last, answer)
		}
		if err != nil {
			return err
		}
		c.log.Info("asked for a gap", "source", g.Source, "first", g.First, "last", g.Last, "times", g.Times, "answer", answer)
	}
	return nil
}

// askFor runs the program and returns what it said. No shell is in between, and
// a source that take_event lets in is a / and a-z, 0-9, - and / behind it.
func (c *collector) askFor(ctx context.Context, g gap) string {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	program := exec.CommandContext(ctx, c.ask, g.Source, strconv.FormatInt(g.First, 10), strconv.FormatInt(g.Last, 10)) //nolint:gosec // its user names it
	program.WaitDelay = patience
	said, err := program.CombinedOutput()
	said = bytes.ToValidUTF8(bytes.ReplaceAll(said[:min(len(said), 1000)], []byte{0}, nil), nil)
	if err != nil {
		said = append(said, " ("+err.Error()+")"...)
	}
	return strings.TrimSpace(string(said))
}
