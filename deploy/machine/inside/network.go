//go:build linux

package main

import (
	"errors"
	"net"

	"golang.org/x/sys/unix"
)

// address is what QEMU's own network gives to the first machine. There is no way
// out of that network: only its gateway, which is the test's own machine, is in reach.
var address = net.IPv4(10, 0, 2, 15)

// bringUp gives the address to a network device, and brings the loopback up.
func bringUp(device string) (err error) {
	s, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, unix.Close(s)) }()
	for name, ip := range map[string]net.IP{"lo": net.IPv4(127, 0, 0, 1), device: address} {
		mask := net.IPv4(255, 255, 255, 0)
		if name == "lo" {
			mask = net.IPv4(255, 0, 0, 0)
		}
		for _, c := range []struct {
			call uint
			ip   net.IP
		}{{unix.SIOCSIFADDR, ip}, {unix.SIOCSIFNETMASK, mask}} {
			r, err := unix.NewIfreq(name)
			if err != nil {
				return err
			}
			if err := r.SetInet4Addr(c.ip.To4()); err != nil {
				return err
			}
			if err := unix.IoctlIfreq(s, c.call, r); err != nil {
				return err
			}
		}
		r, err := unix.NewIfreq(name)
		if err != nil {
			return err
		}
		r.SetUint16(unix.IFF_UP | unix.IFF_RUNNING)
		if err := unix.IoctlIfreq(s, unix.SIOCSIFFLAGS, r); err != nil {
			return err
		}
	}
	return nil
}
