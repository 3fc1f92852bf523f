package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"time"
)

// broker is a Mosquitto on a port of the loopback, as it comes but for the length of
// its queues, and a subscriber to all of it.
type broker struct {
	path, dir string
	port      int
	hear      func(topic, payload []byte, at time.Time) // called by one goroutine at a time

	process *exec.Cmd
	conn    net.Conn
	done    sync.WaitGroup
}

// newBroker takes a free port and starts nothing yet.
func newBroker(path, dir string, hear func(topic, payload []byte, at time.Time)) (*broker, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	port := l.Addr().(*net.TCPAddr).Port
	if err := l.Close(); err != nil {
		return nil, err
	}
	return &broker{path: path, dir: dir, port: port, hear: hear}, nil
}

// start starts the broker and returns when the subscriber hears, soon enough to be
// there before others who try again each second.
func (b *broker) start() error {
	config := filepath.Join(b.dir, "mosquitto.conf")
	text := fmt.Sprintf("listener %d 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\nlog_type none\n", b.port)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		return err
	}
	b.process = exec.Command(b.path, "-c", config)
	b.process.Stderr = os.Stderr
	if err := b.process.Start(); err != nil {
		return err
	}
	for limit := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond / 2) {
		var err error
		if b.conn, err = net.Dial("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(b.port))); err == nil {
			break
		}
		if time.Now().After(limit) {
			return fmt.Errorf("mosquitto does not listen: %w", err)
		}
	}
	in := bufio.NewReaderSize(b.conn, 1<<20)
	// CONNECT and SUBSCRIBE of MQTT 3.1.1, sections 3.1 and 3.8: clean session, no
	// keepalive, "#" at QoS 0, which asks for nothing to be sent back.
	hello := append([]byte("\x10\x13\x00\x04MQTT\x04\x02\x00\x00\x00\x07watcher"), "\x82\x06\x00\x01\x00\x01#\x00"...)
	if _, err := b.conn.Write(hello); err != nil {
		return err
	}
	for _, want := range []string{"\x20\x02\x00\x00", "\x90\x03\x00\x01\x00"} {
		got := make([]byte, len(want))
		if _, err := io.ReadFull(in, got); err != nil || string(got) != want {
			return fmt.Errorf("mosquitto answers %x (%v), want %x", got, err, want)
		}
	}
	b.done.Go(func() { _ = listen(in, b.hear) }) // events that it misses are missed by who waits for them
	return nil
}

// kill ends the broker as a power cut would.
func (b *broker) kill() {
	if b.process == nil {
		return
	}
	_ = b.process.Process.Kill() // it may have ended
	_ = b.process.Wait()         // likewise
	_ = b.conn.Close()
	b.done.Wait()
	b.process = nil
}

// listen reads what is published until the connection ends, which it tells.
func listen(in *bufio.Reader, hear func(topic, payload []byte, at time.Time)) error {
	var packet []byte
	for {
		head, err := in.ReadByte()
		if err != nil {
			return err
		}
		size, err := binary.ReadUvarint(in) // its form is that of section 2.2.3
		if err != nil {
			return err
		}
		if size > 1<<20 {
			return errors.New("a packet of more than 1 MiB")
		}
		if uint64(cap(packet)) < size {
			packet = make([]byte, size)
		}
		packet = packet[:size]
		if _, err := io.ReadFull(in, packet); err != nil {
			return err
		}
		if head>>4 != 3 || size < 2 {
			continue
		}
		n := 2 + int(binary.BigEndian.Uint16(packet))
		if n > len(packet) {
			return errors.New("a topic longer than its packet")
		}
		hear(packet[2:n], packet[n:], time.Now())
	}
}

// sequence reads the number of an event.
func sequence(payload []byte) (uint64, bool) {
	_, rest, ok := bytes.Cut(payload, []byte(`"sequence":"`))
	if !ok || len(rest) < 20 {
		return 0, false
	}
	seq, err := strconv.ParseUint(string(rest[:20]), 10, 64)
	return seq, err == nil
}
