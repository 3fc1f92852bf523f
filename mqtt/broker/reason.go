package broker

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"syscall"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Class says how far an attempt came, and so how soon the next one may follow.
type Class string

// The classes of an ending.
const (
	Absent  Class = "absent"  // nothing answers at the address, or we are not ready ourselves
	Refused Class = "refused" // somebody answers, but there is no working connection
	Lost    Class = "lost"    // a connection that worked has ended
)

// Ending is why there is no connection any more.
type Ending struct {
	Class  Class
	Reason string // a sentence for a person, the same words for the same cause
	Err    error  // for the log
}

// whyNoNetwork explains an error of the network's connect.
func (b *Broker) whyNoNetwork(err error) string {
	var dns *net.DNSError
	switch {
	case errors.As(err, &dns) && dns.IsNotFound:
		return fmt.Sprintf("no machine of the name %s is known: check the broker's address and the name server", b.all[b.at].host)
	case errors.As(err, &dns):
		return fmt.Sprintf("the name server does not answer for %s: check the network", b.all[b.at].host)
	case errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Sprintf("nothing listens at %s: is the broker running?", b.Here())
	case errors.Is(err, syscall.ENETUNREACH), errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETDOWN):
		return fmt.Sprintf("there is no way to %s: check the network", b.Here())
	case isTimeout(err):
		return fmt.Sprintf("%s does not answer within %v: check the address, the network and the firewall", b.Here(), b.access.Timeout)
	default:
		return fmt.Sprintf("no connection to %s: %s", b.Here(), innermost(err))
	}
}

// whyNoTLS explains an error of the TLS handshake.
func (b *Broker) whyNoTLS(mine *own, err error) string {
	var (
		list     errRevoked
		unknown  x509.UnknownAuthorityError
		wrong    x509.HostnameError
		invalid  x509.CertificateInvalidError
		noRecord tls.RecordHeaderError
	)
	switch {
	case errors.As(err, &list):
		return list.Error()
	case errors.As(err, &unknown):
		if b.access.CA == "" {
			return "the broker's certificate is from an unknown authority: name the authority's certificate (key ca)"
		}
		return fmt.Sprintf("the broker's certificate is not from the authority in %s", b.access.CA)
	case errors.As(err, &wrong):
		return fmt.Sprintf("the broker's certificate is not for the name %s", b.all[b.at].host)
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired && invalid.Cert != nil:
		if time.Now().Before(invalid.Cert.NotBefore) {
			return fmt.Sprintf("the broker's certificate is not valid before %s: is this machine's clock right?", day(invalid.Cert.NotBefore))
		}
		return fmt.Sprintf("the broker's certificate expired on %s (or this machine's clock is wrong)", day(invalid.Cert.NotAfter))
	case errors.As(err, &invalid):
		return fmt.Sprintf("the broker's certificate is not valid: %s", invalid.Error())
	case errors.As(err, &noRecord):
		return fmt.Sprintf("%s does not speak TLS: write tcp:// or take the port with TLS", b.Here())
	case isCut(err):
		if why, ok := mine.why(""); ok {
			return why
		}
		return fmt.Sprintf("%s ends the connection instead of TLS: is it the port with TLS?", b.Here())
	case isTimeout(err):
		return fmt.Sprintf("%s does not answer with TLS within %v: is it a broker?", b.Here(), b.access.Timeout)
	default:
		if alert, ok := fromPeer(mine, err); ok {
			return alert
		}
		return fmt.Sprintf("no TLS with %s: %s", b.Here(), innermost(err))
	}
}

// whyNoMQTT explains a CONNECT without a good CONNACK.
func (b *Broker) whyNoMQTT(mine *own, err error) string {
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return "the broker does not let this press in: check user, password and certificate, there and here"
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return "the broker does not take this press's client id"
	case errors.Is(err, packets.ErrorRefusedServerUnavailable):
		return "the broker says that it is not available now"
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return "the broker does not speak MQTT 3.1.1"
	case isTimeout(err):
		return fmt.Sprintf("connected to %s, but it does not answer with MQTT within %v: is it a broker?", b.Here(), b.access.Timeout)
	case isCut(err):
		if why, ok := mine.why(""); ok {
			return why
		}
		if b.all[b.at].tls {
			return fmt.Sprintf("%s ends the connection instead of answering with MQTT: does it want this press's certificate, is it a broker?", b.Here())
		}
		return fmt.Sprintf("%s ends the connection instead of answering with MQTT: is it a broker, does it want ssl://, is its disk full?", b.Here())
	default:
		if alert, ok := fromPeer(mine, err); ok {
			return alert
		}
		return fmt.Sprintf("%s does not answer with MQTT: %s", b.Here(), innermost(err))
	}
}

// whyLost explains the end of a connection that worked.
func whyLost(err error) string {
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return "the broker has ended the connection"
	case errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE):
		return "the connection was cut"
	case isTimeout(err):
		return "the broker takes no more data: check the network"
	case strings.Contains(err.Error(), "pingresp not received"): // so the client library says it
		return "the broker no longer answers: check the network"
	default:
		if alert, ok := fromPeer(nil, err); ok {
			return alert
		}
		return fmt.Sprintf("the connection was lost: %s", innermost(err))
	}
}

// fromPeer explains what the peer said when it ended TLS by itself.
func fromPeer(mine *own, err error) (string, bool) {
	said, ok := alert(err)
	if !ok {
		return "", false
	}
	if why, ok := mine.why(said); ok {
		return why, true
	}
	return fmt.Sprintf("the broker refuses TLS with this press, it says %q: check this press's certificate", said), true
}

// alert is the peer's word for ending TLS.
func alert(err error) (said string, ok bool) {
	var op *net.OpError
	if errors.As(err, &op) && op.Op == "remote error" { // so crypto/tls names an alert received
		return innermost(op), true
	}
	return "", false
}

// isCut reports whether the peer has ended the connection without a word.
func isCut(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}

// innermost is the text of the error at the bottom: without the addresses that
// change with every attempt.
func innermost(err error) string {
	for {
		var next error
		switch e := err.(type) {
		case interface{ Unwrap() error }:
			next = e.Unwrap()
		case interface{ Unwrap() []error }:
			if all := e.Unwrap(); len(all) > 0 {
				next = all[len(all)-1]
			}
		}
		if next == nil {
			return err.Error()
		}
		err = next
	}
}

func isTimeout(err error) bool {
	var t interface{ Timeout() bool }
	return errors.Is(err, os.ErrDeadlineExceeded) || errors.As(err, &t) && t.Timeout()
}

func day(t time.Time) string { return t.UTC().Format(time.DateOnly) }
