package mqtt

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"time"
)

// First bytes of the packets that a broker may say to us (MQTT 3.1.1, sections
// 3.2, 3.4 and 3.13).
const (
	connack  = 0x20
	puback   = 0x40
	pingresp = 0xd0
)

// errGivenUp is what reading gives after the connection was closed on this
// side. The client library ends a connection in order on any error but the one
// that package net gives then.
var errGivenUp = errors.New("connection given up")

// ear is a broker's connection as the client library sees it. It hands on
// CONNACK, PUBACK and PINGRESP, each checked for its form, and throws away all
// else without keeping it: a publisher has nothing to hear, and no message,
// however long, costs it memory. Every write has a deadline.
type ear struct {
	net.Conn
	in       *bufio.Reader
	patience time.Duration // of a write
	packet   [4]byte
	rest     []byte // of packet, not yet handed on
}

func newEar(c net.Conn, patience time.Duration) *ear {
	return &ear{Conn: c, in: bufio.NewReaderSize(c, 512), patience: patience}
}

// Read hands on the next bytes of the packets that pass.
func (e *ear) Read(b []byte) (int, error) {
	for len(e.rest) == 0 {
		if err := e.next(); err != nil {
			if errors.Is(err, net.ErrClosed) {
				err = errGivenUp
			}
			return 0, err
		}
	}
	n := copy(b, e.rest)
	e.rest = e.rest[n:]
	return n, nil
}

// next reads one packet, and makes it the rest if it passes.
func (e *ear) next() error {
	first, err := e.in.ReadByte()
	if err != nil {
		return err
	}
	length, err := e.length()
	if err != nil {
		return err
	}
	want := 2
	switch first {
	case pingresp:
		want = 0
	case connack, puback:
	default:
		_, err := e.in.Discard(length)
		return err
	}
	if length != want {
		return fmt.Errorf("the broker's packet 0x%02x has %d bytes instead of %d", first, length, want)
	}
	e.packet[0], e.packet[1] = first, byte(length)
	if _, err := io.ReadFull(e.in, e.packet[2:2+length]); err != nil {
		return err
	}
	if code := e.packet[3]; first == connack && code > 5 { // section 3.2.2.3
		return fmt.Errorf("the broker answers CONNECT with the unknown code %d", code)
	}
	e.rest = e.packet[:2+length]
	return nil
}

// length reads the remaining length, 1 to 4 bytes of 7 bits (section 2.2.3).
func (e *ear) length() (int, error) {
	n := 0
	for shift := 0; shift < 28; shift += 7 {
		c, err := e.in.ReadByte()
		if err != nil {
			return 0, err
		}
		n |= int(c&0x7f) << shift
		if c < 0x80 {
			return n, nil
		}
	}
	return 0, errors.New("the broker sends a packet whose length is malformed")
}

// Write writes with a deadline, keepalives too.
func (e *ear) Write(b []byte) (int, error) {
	if err := e.Conn.SetWriteDeadline(time.Now().Add(e.patience)); err != nil {
		return 0, err
	}
	return e.Conn.Write(b)
}
