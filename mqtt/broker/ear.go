package broker

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"sync/atomic"
	"time"
)

// First bytes of the packets that a broker may say to us (MQTT 3.1.1, sections
// 3.2, 3.4, 3.9 and 3.13), and of messages but for their flags (section 3.3).
const (
	connack  = 0x20
	publish  = 0x30
	puback   = 0x40
	suback   = 0x90
	pingresp = 0xd0
)

// errGivenUp is what reading gives after the connection was closed on this
// side. The client library ends a connection in order on any error but the one
// that package net gives then.
var errGivenUp = errors.New("connection given up")

// ear is a broker's connection as the client library sees it. It hands on
// CONNACK, PUBACK and PINGRESP, each checked for its form, and throws away all
// else without keeping it: who has nothing to hear is cost no memory by any
// message, however long. With a hearing it hands on SUBACK and messages too.
// Every write has a deadline.
type ear struct {
	net.Conn
	in       *bufio.Reader
	patience time.Duration // of a write
	quick    func()        // has what was read acknowledged at once
	handed   int           // packets handed on
	hearing  Hearing
	packet   []byte
	rest     []byte      // of packet, not yet handed on
	spoken   atomic.Bool // something was written

	second time.Time // begin of the second in which heard counts
	heard  int
}

// greeting is more than how many acknowledgements a connection begins with. Those of
// later messages come one by one, or ride on each other: there haste costs more
// than it gains (a drain with 16 in flight took a quarter longer, measured).
const greeting = 16

// Hearing is what a connection may hear; the zero value nothing. A longer
// message is cut off. Of those at QoS 0 no more than so many in a second are
// handed on: nobody answers for them, and a flood must not take the machine's
// time.
type Hearing struct {
	Longest int // bytes of a packet, up to 64 KiB
	Most    int // messages in a second
}

func newEar(c net.Conn, patience time.Duration, h Hearing) *ear {
	return &ear{Conn: c, in: bufio.NewReaderSize(c, 512), patience: patience, quick: quickly(c), hearing: h, packet: make([]byte, 4)}
}

// Read hands on the next bytes of the packets that pass.
func (e *ear) Read(b []byte) (int, error) {
	for len(e.rest) == 0 {
		if e.handed < greeting && e.in.Buffered() == 0 {
			e.quick()
		}
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
	switch {
	case first == pingresp:
		want = 0
	case first == connack, first == puback:
	case e.hearing == Hearing{}:
		return e.discard(length)
	case first == suback:
		want = 3 // one topic at a time is asked for; the library counts on an answer for each
	case first&0xf0 == publish && first&0x06 != 0x04 && first&0x06 != 0x06: // never more than asked for: QoS 0 or 1
		return e.message(first, length)
	default:
		return e.discard(length)
	}
	if length != want {
		return fmt.Errorf("the broker's packet 0x%02x has %d bytes instead of %d", first, length, want)
	}
	e.packet = append(e.packet[:0], first, byte(length))
	if err := e.read(length); err != nil {
		return err
	}
	if code := e.packet[len(e.packet)-1]; first == connack && code > 5 { // section 3.2.2.3
		return fmt.Errorf("the broker answers CONNECT with the unknown code %d", code)
	}
	e.rest = e.packet
	e.handed++
	return nil
}

// discard throws away what is left of a packet.
func (e *ear) discard(length int) error {
	_, err := e.in.Discard(length)
	return err
}

// read adds so many bytes to the packet.
func (e *ear) read(n int) error {
	at := len(e.packet)
	e.packet = append(e.packet, make([]byte, n)...)
	_, err := io.ReadFull(e.in, e.packet[at:])
	return err
}

// message reads a message, as much of it as may be heard.
func (e *ear) message(first byte, length int) error {
	sure := first&0x06 != 0
	if !sure && !e.room(time.Now()) {
		return e.discard(length)
	}
	longest := min(e.hearing.Longest, 64<<10)
	kept := min(length, longest)
	e.packet = binary.AppendUvarint(append(e.packet[:0], first), uint64(kept)) // MQTT writes lengths as a varint of 1 to 4 bytes
	begin := len(e.packet)
	if err := e.read(kept); err != nil {
		return err
	}
	head := 2
	if kept >= 2 {
		head += int(binary.BigEndian.Uint16(e.packet[begin:]))
	}
	if sure {
		head += 2
	}
	if head > kept {
		return fmt.Errorf("the broker's message of %d bytes does not hold its topic", length)
	}
	e.rest = e.packet
	return e.discard(length - kept)
}

// room counts a message at QoS 0 and reports whether it may be handed on.
func (e *ear) room(now time.Time) bool {
	if now.Sub(e.second) >= time.Second {
		e.second, e.heard = now, 0
	}
	e.heard++
	return e.heard <= e.hearing.Most
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

// Write writes with a deadline, keepalives too. When the first packet, CONNECT,
// cannot be written, the broker's last word is the better error: under TLS 1.3 it
// judges the press's certificate when the press has long begun to speak, says an
// alert and resets the connection.
func (e *ear) Write(b []byte) (int, error) {
	first := !e.spoken.Swap(true)
	if err := e.SetWriteDeadline(time.Now().Add(e.patience)); err != nil {
		return 0, err
	}
	n, err := e.Conn.Write(b)
	if err != nil && first && isCut(err) {
		if said := e.lastWord(); said != nil {
			err = said
		}
	}
	return n, err
}

// lastWord is the alert that has come over a connection that takes no more, nil
// if there is none.
func (e *ear) lastWord() error {
	if e.SetReadDeadline(time.Now().Add(moment)) != nil {
		return nil
	}
	_, err := e.Conn.Read(make([]byte, 1))
	if _, ok := alert(err); !ok {
		return nil
	}
	return err
}
