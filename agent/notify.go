package main

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"
)

// notifyWait bounds a message to a service manager that takes none; our own
// figure, no source.
const notifyWait = time.Second

// notify tells the service manager states, such as READY=1; without one it does
// nothing (sd_notify(3): a datagram to $NOTIFY_SOCKET, @ for the abstract names).
func notify(states ...string) {
	name := os.Getenv("NOTIFY_SOCKET")
	if name == "" {
		return
	}
	if name[0] == '@' {
		name = "\x00" + name[1:]
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		return // the manager then sees no beat, which is what it is for
	}
	_ = conn.SetWriteDeadline(time.Now().Add(notifyWait))
	_, _ = conn.Write([]byte(strings.Join(states, "\n")))
	_ = conn.Close()
}

// fedEvery is how often the service manager wants to hear that the agent is
// alive: a third of its limit ($WATCHDOG_USEC). ok is false when it does not ask.
func fedEvery() (every time.Duration, ok bool) {
	limit, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if err != nil || limit <= 0 {
		return 0, false
	}
	return time.Duration(limit) * time.Microsecond / 3, true
}

// How the service manager is asked for patience while a slow card holds the start
// or the end up. A process that stands still asks no more, and is ended.
const (
	holdFor   = 30 * time.Second
	holdAgain = 10 * time.Second
)

// hold asks the service manager to wait longer than the unit says, until its
// answer is called, for at most so long.
func hold(most time.Duration) (end func()) {
	if os.Getenv("NOTIFY_SOCKET") == "" {
		return func() {}
	}
	done := make(chan struct{})
	go func() {
		tick := time.NewTicker(holdAgain)
		defer tick.Stop()
		for until := time.Now().Add(most); time.Now().Before(until); {
			notify(fmt.Sprintf("EXTEND_TIMEOUT_USEC=%d", holdFor.Microseconds()))
			select {
			case <-done:
				return
			case <-tick.C:
			}
		}
	}()
	return sync.OnceFunc(func() { close(done) })
}
