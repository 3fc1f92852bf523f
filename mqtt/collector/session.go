package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

const (
	most     = 500              // messages in one transaction, and as many again that wait for the next
	patience = 30 * time.Second // with a broker or a database that does not answer
)

// session keeps what comes until the broker, the database or ctx fails, and
// returns how many messages it kept. The database is reached first and the
// broker left when it fails, so that what cannot be kept stays at the broker:
// nothing is held here but what was not acknowledged, and a message that was not
// is given again by the broker in the next session, and only then.
func (c *collector) session(ctx context.Context) (kept int, err error) {
	db, err := pgx.ConnectConfig(ctx, c.database)
	if err != nil {
		return 0, err
	}
	defer db.Close(context.WithoutCancel(ctx)) //nolint:errcheck // what matters is committed, or not acknowledged

	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	waiting := make(chan paho.Message, most)
	options, err := c.options()
	if err != nil {
		return 0, err
	}
	options.SetConnectionLostHandler(func(_ paho.Client, err error) { end(fmt.Errorf("broker: %w", err)) })
	// The handler of all topics, and not one given to Subscribe: what waited at
	// the broker comes at once, before Subscribe is even called. While it
	// blocks, the library reads no further, and the broker holds the rest.
	options.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
		select {
		case waiting <- m:
		case <-ctx.Done():
		}
	})
	client := paho.NewClient(options)
	connecting := client.Connect()
	defer client.Disconnect(250)
	defer end(nil) // first the handler is let go, else Disconnect waits for it
	select {
	case <-connecting.Done(): // in the connect timeout
	case <-ctx.Done():
		return 0, context.Cause(ctx)
	}
	if err := connecting.Error(); err != nil {
		return 0, fmt.Errorf("broker: %w", err)
	}
	// Its answer may stand behind thousands of messages that have waited, so it
	// is awaited beside them.
	subscribing := client.SubscribeMultiple(map[string]byte{c.filter + "/event/#": 1, c.filter + "/status": 1}, nil)
	answer := subscribing.Done()
	for {
		select {
		case m := <-waiting:
			batch := []paho.Message{m}
			for len(batch) < most && len(waiting) > 0 {
				batch = append(batch, <-waiting)
			}
			if err := c.keep(ctx, db, batch); err != nil {
				if ctx.Err() != nil { // it was broken off; why is not the database's
					return kept, context.Cause(ctx)
				}
				return kept, fmt.Errorf("database: %w", unmade(err))
			}
			for _, m := range batch {
				m.Ack() // committed; if it gets lost, the message comes once more
			}
			kept += len(batch)
		case <-answer:
			answer = nil
			if err := granted(subscribing.(*paho.SubscribeToken)); err != nil {
				return kept, fmt.Errorf("broker: %w", err)
			}
			c.log.Info("collecting", "broker", c.broker, "filter", c.filter)
		case <-ctx.Done():
			return kept, context.Cause(ctx)
		}
	}
}

// unmade adds what to do to the error of a database that has no tables yet.
func unmade(err error) error {
	var of *pgconn.PgError
	if errors.As(err, &of) && of.Code == "42883" { // undefined_function (PostgreSQL, appendix A)
		return fmt.Errorf("%w: run the collector once with --create", err)
	}
	return err
}

// granted says whether the broker lets this user read what was asked for.
func granted(t *paho.SubscribeToken) error {
	if err := t.Error(); err != nil {
		return err
	}
	for filter, qos := range t.Result() {
		if qos != 1 { // 0x80: refused (MQTT 3.1.1, section 3.9.3)
			return fmt.Errorf("it does not let this user read %s at QoS 1", filter)
		}
	}
	return nil
}

// keep commits a batch. What is no event is kept too, as refused: an error is of
// the database, never of a message.
func (c *collector) keep(ctx context.Context, db *pgx.Conn, batch []paho.Message) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	return pgx.BeginFunc(ctx, db, func(tx pgx.Tx) error {
		var calls pgx.Batch
		for _, m := range batch {
			topic := strings.ReplaceAll(strings.ToValidUTF8(m.Topic(), "\ufffd"), "\x00", "\ufffd") // as PostgreSQL takes it
			payload := append([]byte{}, m.Payload()...)                                             // never nil, which would be NULL
			calls.Queue("SELECT take_event($1::text, $2::bytea)", topic, payload).QueryRow(func(row pgx.Row) error {
				var what string
				if err := row.Scan(&what); err != nil {
					return err
				}
				if what == "refused" {
					c.log.Warn("refused, see the table", "topic", topic, "size", len(payload))
				}
				return nil
			})
		}
		return tx.SendBatch(ctx, &calls).Close()
	})
}

// options are those of one connection. Files are read anew each time, so that a
// renewed certificate or password needs no restart.
//
// A client of the library serves for one connection here. With its own
// reconnecting it would keep messages of the former connection and acknowledge
// them under numbers that mean other messages by then.
func (c *collector) options() (*paho.ClientOptions, error) {
	o := paho.NewClientOptions().AddBroker(c.broker).SetClientID(c.client).SetProtocolVersion(4).
		SetCleanSession(false).SetAutoReconnect(false).SetConnectRetry(false).SetAutoAckDisabled(true).SetOrderMatters(true).
		SetKeepAlive(patience).SetPingTimeout(2 * patience).SetConnectTimeout(patience) // an answer waits behind a batch
	if c.user != "" {
		o.SetUsername(c.user)
	}
	if c.passwordFile != "" {
		password, err := os.ReadFile(c.passwordFile)
		if err != nil {
			return nil, err
		}
		o.SetPassword(strings.TrimRight(string(password), "\r\n"))
	}
	t := &tls.Config{MinVersion: tls.VersionTLS12}
	if c.ca != "" {
		pem, err := os.ReadFile(c.ca)
		if err != nil {
			return nil, err
		}
		if t.RootCAs = x509.NewCertPool(); !t.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("%s: no certificate in it", c.ca)
		}
	}
	if c.cert != "" || c.key != "" {
		own, err := tls.LoadX509KeyPair(c.cert, c.key)
		if err != nil {
			return nil, err
		}
		t.Certificates = []tls.Certificate{own}
	}
	return o.SetTLSConfig(t), nil
}
