package main

import (
	"net"
	"net/netip"
	"sync"

	"benchtally/agent/people"
)

// Connections to the page at once. A browser has about six to a page by HTTP/1.1
// (common practice, no source), and the press is not the place for a crowd.
const (
	mostConnections = 256
	mostOfOne       = 32 // machine
)

// crowd is a listener that closes what is too much, so that no flood of
// connections takes the memory that the counting needs.
type crowd struct {
	net.Listener
	most, mostOfOne int
	friend          func(netip.Addr) bool // is let in always

	mu  sync.Mutex
	all int
	of  map[netip.Prefix]int
}

func newCrowd(l net.Listener, friend func(netip.Addr) bool) *crowd {
	return &crowd{Listener: l, most: mostConnections, mostOfOne: mostOfOne, friend: friend, of: map[netip.Prefix]int{}}
}

// Accept waits for the next connection that is not too much.
func (c *crowd) Accept() (net.Conn, error) {
	for {
		conn, err := c.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from, known := people.Peer(conn.RemoteAddr().String())
		if !known || c.friend(from) {
			return conn, nil
		}
		if one := people.Machine(from); c.enter(one) {
			return &guest{Conn: conn, leave: sync.OnceFunc(func() { c.leave(one) })}, nil
		}
		_ = conn.Close() // it is not wanted anyway
	}
}

func (c *crowd) enter(one netip.Prefix) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.all >= c.most || c.of[one] >= c.mostOfOne {
		return false
	}
	c.all++
	c.of[one]++
	return true
}

func (c *crowd) leave(one netip.Prefix) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.all--
	if c.of[one]--; c.of[one] == 0 {
		delete(c.of, one)
	}
}

// guest is a connection that is counted until it is closed.
type guest struct {
	net.Conn
	leave func()
}

// Close ends the connection.
func (g *guest) Close() error {
	g.leave()
	return g.Conn.Close()
}
