package main

import (
	"net"
	"os"
	"strconv"
	"time"
)

// notify tells the service manager a state, such as READY=1; without one it does
// nothing (sd_notify(3): a datagram to $NOTIFY_SOCKET, @ for the abstract names).
func notify(state string) {
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
	_, _ = conn.Write([]byte(state))
	_ = conn.Close()
}

// watchdog returns the function that tells the service manager of each beat, at
// most as often as it wants to hear ($WATCHDOG_USEC, a third of it).
func watchdog(now func() time.Time) func() {
	limit, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if err != nil || limit <= 0 {
		return func() {}
	}
	every := time.Duration(limit) * time.Microsecond / 3
	var last time.Time
	return func() {
		if at := now(); at.Sub(last) >= every {
			last = at
			notify("WATCHDOG=1")
		}
	}
}
