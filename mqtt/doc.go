// Package mqtt sends kept records to an MQTT 3.1.1 broker, in order, each at
// least once.
//
// A Publisher reads unsent events from an Outbox, publishes them at QoS 1 and
// tells the outbox which the broker has acknowledged. It keeps a few retained
// topics up to date beside them: whether the press is online, what it works on.
// It subscribes to nothing and hands nothing that a broker says to anybody: of
// all packets only CONNACK, PUBACK and PINGRESP reach the client library.
//
// # Caveats
//
// An acknowledgement says that the broker has taken a message, not that it has
// written it to disk: a broker killed before its next save loses what it had
// acknowledged. Keep acknowledged records, they can be sent again.
//
// MQTT 3.1.1 has no word for "I do not take this": a broker that denies a topic,
// or has a limit on messages, may acknowledge one and drop it. Check once, with
// a subscriber, that events arrive.
//
// An event at which the broker ends the connection each time, because it is
// larger than the broker allows, is never passed over: that would lose it or
// break the order. The events behind it wait, State says which one it is, and it
// is tried again, seldom, until the broker is put right.
//
// After a connection is lost up to Settings.Window events are sent again;
// receivers tell repeats by source and id.
package mqtt
