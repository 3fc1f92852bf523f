package main

import (
	"net"
	"net/netip"
	"testing"
)

// callers is a listener to which connections come from given addresses.
type callers chan string

type call struct {
	net.Conn
	from net.Addr
}

func (c call) RemoteAddr() net.Addr { return c.from }

func (c callers) Accept() (net.Conn, error) {
	from, open := <-c
	if !open {
		return nil, net.ErrClosed
	}
	own, other := net.Pipe()
	_ = other.Close() // nobody speaks
	return call{own, net.TCPAddrFromAddrPort(netip.MustParseAddrPort(from))}, nil
}

func (c callers) Close() error   { close(c); return nil }
func (c callers) Addr() net.Addr { return &net.TCPAddr{} }

// TestCrowd: who brings too many connections, and who comes when there are too
// many, is turned away until one has ended; friends never are.
func TestCrowd(t *testing.T) {
	calls := make(callers, 32)
	c := newCrowd(calls, netip.Addr.IsLoopback)
	c.most, c.mostOfOne = 4, 2
	answered := func(calling ...string) (got []net.Conn) {
		for _, from := range calling {
			calls <- from
		}
		calls <- "[::1]:1" // is always let in, and ends the row
		for {
			conn, err := c.Accept()
			if err != nil {
				t.Fatal(err)
			}
			if conn.RemoteAddr().String() == "[::1]:1" {
				return got
			}
			got = append(got, conn)
		}
	}
	first := answered("192.0.2.7:1", "192.0.2.7:2", "192.0.2.7:3", "[::ffff:192.0.2.7]:4")
	if len(first) != 2 {
		t.Fatalf("%d of one machine are let in, want 2", len(first))
	}
	second := answered("[2001:db8::1]:1", "[2001:db8::2]:1", "[2001:db8::3]:1", "192.0.2.8:1")
	if len(second) != 2 {
		t.Fatalf("%d are let in beside 2, want 2", len(second))
	}
	if err := first[0].Close(); err != nil {
		t.Fatal(err)
	}
	_ = first[0].Close() // counts once
	if third := answered("[2001:db8::4]:1", "192.0.2.8:1", "192.0.2.7:5"); len(third) != 1 || third[0].RemoteAddr().String() != "192.0.2.8:1" {
		t.Errorf("after one has left %v are let in, want 192.0.2.8", third)
	}
	for _, conn := range append(first[1:], second...) {
		_ = conn.Close() // they are only counted
	}
	if c.all != 1 || len(c.of) != 1 {
		t.Errorf("%d of %d machines are counted, want 1 of 1", c.all, len(c.of))
	}
	_ = calls.Close()
	if _, err := c.Accept(); err == nil {
		t.Error("a closed listener gives a connection")
	}
}
