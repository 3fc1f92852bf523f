package main

import (
	"fmt"
	"log/slog"
	"time"

	"benchtally/mqtt/broker"
)

// endingSoon is how long before its end a certificate is told of; common practice,
// no source.
const endingSoon = 30 * 24 * time.Hour

// endingText says that a certificate used with the broker ends soon, or has ended
// on a connection that stands; "": neither.
func endingText(end broker.End, now time.Time) string {
	if end.IsZero() || end.Sub(now) > endingSoon {
		return ""
	}
	day := end.UTC().Format(time.DateOnly)
	switch end.Whose {
	case broker.OfPress:
		return fmt.Sprintf("this press's certificate for the broker is good until %s: put a new one in its place, it is taken up by itself", day)
	case broker.OfBroker:
		return fmt.Sprintf("the broker's certificate is good until %s: tell who runs the broker", day)
	case broker.OfAuthority:
		return fmt.Sprintf("the certificate of the broker's authority is good until %s: tell who runs the broker, and put the new one in its place here", day)
	}
	return ""
}

// daysLeft counts the days until then that have begun: 1 on the last one, negative
// behind it, 0 if there is no end.
func daysLeft(end broker.End, now time.Time) int {
	const day = 24 * time.Hour
	left := end.Sub(now)
	switch {
	case end.IsZero():
		return 0
	case left > 0:
		return int((left + day - 1) / day)
	default:
		return int(left/day) - 1
	}
}

// ends are when the certificates used with the broker end, by each way that
// records go out.
func (a *agent) ends() (all []broker.Ends) {
	if a.publisher != nil {
		all = append(all, a.publisher.State().Expires)
	}
	if a.node != nil {
		all = append(all, a.node.State().Expires)
	}
	return all
}

// firstEnd is when the first of them ends; zero: none is in use. A press's
// certificate that lies in its file anew counts from then on: the connection that
// stands was made with the old one, and the next one takes the new one.
func (a *agent) firstEnd() (first broker.End) {
	for _, e := range a.ends() {
		if renewed := a.renewed.Load(); renewed != nil && !e.Press.IsZero() && renewed.After(e.Press) {
			e.Press = *renewed
		}
		first = first.Sooner(e.First())
	}
	return first
}

// lookForRenewed reads the press's certificate when the one in use ends soon.
func (a *agent) lookForRenewed() {
	for _, e := range a.ends() {
		if e.Press.IsZero() || time.Until(e.Press) > endingSoon {
			continue
		}
		if end, err := broker.CertificateEnd(a.cfg.MQTT.Cert); err == nil { // else the next connection tells why not
			a.renewed.Store(&end)
		}
		return
	}
}

// judgeCertificates logs a certificate that ends soon, once, and that it does no
// more.
func (a *agent) judgeCertificates() {
	a.lookForRenewed()
	is := endingText(a.firstEnd(), time.Now())
	if is == a.ending {
		return
	}
	a.ending = is
	if is == "" {
		slog.Info("the broker's and the press's certificates are good for longer than a month again")
		return
	}
	slog.Warn("certificate", "trouble", is)
}
