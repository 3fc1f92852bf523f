package broker

import (
	"context"
	"errors"
	"net"
	"net/url"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Waits of one connection; our own figures, no source.
const (
	patience = 10 * time.Second       // of a write, a ping, and of the library's own ending
	handing  = 3 * time.Second        // for the library to take a message, writes before it included
	Farewell = 2 * time.Second        // for the last acknowledgements of an orderly stop
	moment   = 100 * time.Millisecond // between a lost message and the word of its cause
)

// Hello is what a press says of itself when it connects.
type Hello struct {
	ClientID  string // unlike that of any other client of the broker
	Keepalive time.Duration
	Will      Message
	Hearing   Hearing
	Hear      func(topic string, payload []byte, retained bool) // called for one message at a time; nil: nobody hears
}

// Message is one message to be published.
type Message struct {
	Topic   string
	Payload []byte
	QoS     byte // 0 or 1
	Retain  bool
}

// Token says when a message is acknowledged (QoS 1), written (QoS 0), or lost.
type Token interface {
	Done() <-chan struct{}
	Error() error // once Done is closed; not nil if the message was lost
}

// Session is one connection, from CONNACK to its end.
type Session struct {
	Begun time.Time // CONNACK

	way     Way
	client  paho.Client
	lost    chan struct{} // closed when the library says that the connection has ended
	cause   error         // why; to be read once lost is closed
	handing sync.WaitGroup
}

// Connect says CONNECT and waits for CONNACK. The session is clean: only then
// do all its tokens end when it is lost.
func (b *Broker) Connect(ctx context.Context, w Way, h Hello, password string) (*Session, *Ending) {
	s := &Session{way: w, lost: make(chan struct{})}
	o := paho.NewClientOptions().
		AddBroker("tcp://" + w.address). // only a name here, the way is open
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			return newEar(w.Conn, patience, h.Hearing), nil
		}).
		SetClientID(h.ClientID).SetUsername(b.access.User).SetPassword(password).
		SetProtocolVersion(4).SetCleanSession(true).SetOrderMatters(true).
		SetAutoReconnect(false).SetConnectRetry(false).SetStore(paho.NewMemoryStore()).
		SetKeepAlive(h.Keepalive).SetPingTimeout(patience).SetWriteTimeout(handing).SetConnectTimeout(b.access.Timeout).
		SetConnectionLostHandler(func(_ paho.Client, err error) {
			s.cause = err // once: this client never reconnects
			close(s.lost)
		})
	if h.Will.Topic != "" {
		o.SetBinaryWill(h.Will.Topic, h.Will.Payload, h.Will.QoS, h.Will.Retain)
	}
	if h.Hear != nil {
		o.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { h.Hear(m.Topic(), m.Payload(), m.Retained()) })
	}
	s.client = paho.NewClient(o)
	cut := context.AfterFunc(ctx, func() { _ = w.Close() })
	token := s.client.Connect()
	<-token.Done()
	cut()
	if err := token.Error(); err != nil {
		_ = w.Close()
		return nil, &Ending{Class: Refused, Reason: b.whyNoMQTT(w.own, err), Err: err}
	}
	s.Begun = time.Now()
	return s, nil
}

// Lost is closed when the connection has ended by itself.
func (s *Session) Lost() <-chan struct{} { return s.lost }

// Publish hands a message to the client library, which takes as long as its
// write timeout if the connection is lost at that moment. The next connection
// does not wait for that: the message counts as lost, Wait waits for the call.
func (s *Session) Publish(m Message) Token {
	taken := make(chan paho.Token, 1)
	s.handing.Go(func() { taken <- s.client.Publish(m.Topic, m.QoS, m.Retain, m.Payload) })
	select {
	case token := <-taken:
		return token
	case <-s.lost:
		return &lostToken{}
	}
}

// ErrDenied is the error of a subscription that the broker does not grant.
var ErrDenied = errors.New("the broker does not grant the subscription")

// Subscribe asks for one topic at QoS 1 and waits for the answer as long as ctx
// lets it.
func (s *Session) Subscribe(ctx context.Context, topic string) error {
	taken := make(chan paho.Token, 1)
	s.handing.Go(func() { taken <- s.client.Subscribe(topic, 1, nil) })
	var token paho.Token
	select {
	case token = <-taken:
	case <-s.lost:
		return s.cause
	}
	select {
	case <-token.Done():
	case <-s.lost:
		return s.cause
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	if t, ok := token.(*paho.SubscribeToken); ok {
		for _, code := range t.Result() {
			if code > 1 { // MQTT 3.1.1, section 3.9.3: 0x80 is a failure, 2 was not asked for
				return ErrDenied
			}
		}
	}
	return token.Error()
}

// lostToken is the token of a message that was never on its way.
type lostToken struct{ paho.DummyToken }

// Error says so.
func (*lostToken) Error() error { return errGivenUp }

// Broken cuts a connection that the library has lost or that lost a message
// with err, nil if that is not known, and says why.
func (s *Session) Broken(err error) *Ending {
	if cause := s.Cut(); cause != nil && !errors.Is(cause, errGivenUp) || err == nil {
		err = cause
	}
	if err == nil {
		err = errGivenUp
	}
	return &Ending{Class: Lost, Reason: whyLost(err), Err: err}
}

// Cut ends the connection without DISCONNECT, so that the broker publishes the
// will, and waits until the library is done with it. It returns the library's
// word for the cause, nil if it has none.
func (s *Session) Cut() error {
	for _, wait := range []time.Duration{moment, patience} {
		timer := time.NewTimer(wait)
		select {
		case <-s.lost:
			timer.Stop()
			_ = s.way.Close() // closed already
			return s.cause
		case <-timer.C:
			_ = s.way.Close() // makes the library lose it
		}
	}
	return nil
}

// Leave says DISCONNECT, so that the broker forgets the will, and ends the
// connection.
func (s *Session) Leave() {
	s.client.Disconnect(uint(Farewell.Milliseconds()))
	_ = s.way.Close() // closed already, unless the library had to give up
}

// Wait waits for calls of the library that may outlive the connection.
func (s *Session) Wait() { s.handing.Wait() }
