package mqtt

import (
	"context"
	"errors"
	"fmt"

	"benchtally/mqtt/broker"
)

// Forget removes what a press has left at its broker, its retained topics under
// the bases given, and returns their names. No publisher of the press may run,
// it would publish them anew. Of several brokers the first that answers is
// taken: they are thought to be one cluster. A broker acknowledges what it does
// not let a press write too (MQTT 3.1.1, section 3.3.5).
func Forget(ctx context.Context, s Settings, bases ...string) ([]string, error) {
	s, way, err := s.checked()
	if err != nil {
		return nil, err
	}
	var topics []string
	for _, base := range bases {
		if err := ValidBase(base); err != nil {
			return nil, err
		}
		topics = append(topics, allRetained(base)...)
	}
	session, err := firstThatAnswers(ctx, s, way)
	if err != nil {
		return nil, err
	}
	defer session.Wait()
	for _, topic := range topics {
		token := session.Publish(broker.Message{Topic: topic, QoS: 1, Retain: true})
		select {
		case <-token.Done():
		case <-ctx.Done():
			_ = session.Cut()
			return nil, fmt.Errorf("the broker does not acknowledge %s: %w", topic, context.Cause(ctx))
		}
		if token.Error() != nil {
			return nil, fmt.Errorf("%s: %s", topic, session.Broken(token.Error()).Reason)
		}
	}
	session.Leave()
	return topics, nil
}

// firstThatAnswers connects to the first broker that takes the press in.
func firstThatAnswers(ctx context.Context, s Settings, way *broker.Broker) (*broker.Session, error) {
	password, err := way.Password()
	if err != nil {
		return nil, err
	}
	var faults []error
	for {
		w, end := way.Dial(ctx)
		if end == nil {
			var session *broker.Session
			hello := broker.Hello{ClientID: s.ClientID, Keepalive: s.Keepalive}
			if session, end = way.Connect(ctx, w, hello, password); end == nil {
				return session, nil
			}
		}
		faults = append(faults, errors.New(end.Reason))
		if way.Next() || ctx.Err() != nil {
			return nil, errors.Join(faults...)
		}
	}
}
