// Collector is an example to copy: it subscribes to what presses publish and
// keeps every event once in PostgreSQL.
//
//	createdb presses
//	collector --create --database postgres:///presses
//	collector --database postgres:///presses --broker ssl://broker.riverside.example \
//	    --ca ca.crt --user collector --password-file password --filter 'riverside/hose-shop/+'
//
// It rests on four things, and whoever writes another in another language needs
// the same four:
//
//  1. A session that the broker keeps: a fixed client id, no clean session, QoS 1.
//     What is published while the collector is away waits at the broker.
//  2. A message is acknowledged after the database has committed it, not before.
//     So whatever dies in between, the broker has it still, and gives it again.
//  3. An event is kept once, by source and id. So what is given again does no harm.
//  4. The sequence in an event rises by one, over all kinds. So what a broker lost
//     is seen as a gap, and the press can be asked to send it again.
//
// schema.sql does the third and the fourth inside the database, in the function
// take_event; numbers.sql are the shop's numbers over it. The program is what
// stands between: session.go the first two, gaps.go the asking.
//
// The press obeys nothing that comes from the network. Asking is a command given
// at the press, benchtally resend; --ask names a program that gives it there, by
// ssh for instance. Without it the command is printed for a person.
package main

import (
	"context"
	_ "embed"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/signal"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

//go:embed schema.sql
var schema string

//go:embed numbers.sql
var numbers string

// collector is the settings and what is known between two sessions.
type collector struct {
	broker, client, filter string
	user, passwordFile     string
	ca, cert, key          string

	database *pgx.ConnConfig

	ask                string        // program; "" prints the command
	look, older, again time.Duration // for gaps: how often; not younger than; not asked for again before

	retryMin, retryMax time.Duration
	log                *slog.Logger
	out                io.Writer
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout, os.Stderr); err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "collector:", err)
		os.Exit(1)
	}
}

// run does what the arguments say until ctx ends.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	c := &collector{retryMin: time.Second, retryMax: 30 * time.Second, log: slog.New(slog.NewTextHandler(stderr, nil)), out: stdout}
	f := flag.NewFlagSet("collector", flag.ContinueOnError)
	f.SetOutput(stderr)
	f.StringVar(&c.broker, "broker", "", "`URL`: tcp://host:1883 or ssl://host:8883")
	f.StringVar(&c.client, "client", "collector", "client `id`, of this collector alone: the broker keeps its messages under it")
	f.StringVar(&c.filter, "filter", "+/+/+", "`topics` of the presses, <site>/<area>/<press>, + for any")
	f.StringVar(&c.user, "user", "", "`name` at the broker")
	f.StringVar(&c.passwordFile, "password-file", "", "`file` with the password at the broker")
	f.StringVar(&c.ca, "ca", "", "PEM `file` of the authorities that the broker's certificate may be of; none: the system's")
	f.StringVar(&c.cert, "cert", "", "PEM `file` of the collector's own certificate")
	f.StringVar(&c.key, "key", "", "PEM `file` of its key")
	database := f.String("database", "", "postgres:// `URL`; what it leaves out is taken from PGHOST, PGPASSFILE and so on")
	create := f.Bool("create", false, "create or renew the tables and views, and end")
	f.StringVar(&c.ask, "ask", "", "`program` that is given source, first and last of a gap and has the press send it again")
	f.DurationVar(&c.look, "look", time.Minute, "how often to look for gaps")
	f.DurationVar(&c.older, "older", 30*time.Second, "a gap younger than this may still fill by itself")
	f.DurationVar(&c.again, "again", 15*time.Minute, "ask for the same gap no sooner than after this")
	if err := f.Parse(args); err != nil {
		return err
	}
	var err error
	if c.database, err = pgx.ParseConfig(*database); err != nil {
		return err
	}
	if c.database.ConnectTimeout == 0 {
		c.database.ConnectTimeout = 10 * time.Second
	}
	switch {
	case f.NArg() > 0:
		return fmt.Errorf("%q: want flags only", f.Arg(0))
	case *create:
		return c.create(ctx)
	case c.broker == "":
		return errors.New("no --broker is named")
	case c.client == "":
		return errors.New("no --client is named: without an id the broker keeps no messages")
	case c.look <= 0:
		return fmt.Errorf("--look %v: want more than nothing", c.look)
	}
	c.collect(ctx)
	return nil
}

// create runs both SQL files, whole or not at all.
func (c *collector) create(ctx context.Context) error {
	db, err := pgx.ConnectConfig(ctx, c.database)
	if err != nil {
		return err
	}
	defer db.Close(ctx) //nolint:errcheck // all is committed by then
	return pgx.BeginFunc(ctx, db, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, schema+numbers)
		return err
	})
}

// collect has one session after the other until ctx ends. A broker or a database
// that is away is waited for.
func (c *collector) collect(ctx context.Context) {
	var watching sync.WaitGroup
	defer watching.Wait()
	watching.Go(func() { c.watchGaps(ctx) })
	pause, said := c.retryMin, ""
	for {
		kept, err := c.session(ctx)
		if ctx.Err() != nil {
			return
		}
		if kept > 0 {
			pause, said = c.retryMin, ""
		}
		if err.Error() != said {
			said = err.Error()
			c.log.Warn("interrupted", "err", err, "kept", kept)
		}
		sleep(ctx, pause/2+rand.N(pause/2)) // not all at once after a power cut
		pause = min(2*pause, c.retryMax)
	}
}

// sleep waits for d or the end of ctx.
func sleep(ctx context.Context, d time.Duration) {
	select {
	case <-time.After(d):
	case <-ctx.Done():
	}
}
