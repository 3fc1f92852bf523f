package broker

import (
	"net"
	"syscall"

	"golang.org/x/sys/unix"
)

// quickly has the kernel acknowledge at once what was read from the network. A
// broker that collects small packets (Nagle's algorithm, RFC 896) holds back its
// second PUBACK until the first is acknowledged, which the kernel does up to 40 ms
// late when there is nothing else to send. The kernel forgets the wish after a
// while (tcp(7), TCP_QUICKACK), so it is repeated.
func quickly(c net.Conn) func() {
	if t, ok := c.(interface{ NetConn() net.Conn }); ok {
		c = t.NetConn() // below TLS
	}
	t, ok := c.(*net.TCPConn)
	if !ok {
		return func() {}
	}
	raw, err := t.SyscallConn()
	if err != nil {
		return func() {}
	}
	wish := func(fd uintptr) {
		_ = unix.SetsockoptInt(int(fd), syscall.IPPROTO_TCP, unix.TCP_QUICKACK, 1) // slower without, no worse
	}
	return func() { _ = raw.Control(wish) }
}
