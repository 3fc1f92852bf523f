package mqtt

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
)

// lab is a small network of network namespaces: sites that a yard joins to each
// other and to this machine. What the yard drops, it drops without a word, as a
// cable does that is pulled behind a switch.
type lab struct {
	t     testing.TB
	name  string
	net   string // first three bytes of all addresses
	sites int
}

var labs atomic.Int64

// newLab makes a yard, until the test ends. Where that is not allowed the test
// is skipped.
func newLab(t testing.TB) *lab {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("network namespaces need root")
	}
	nth := labs.Add(1)
	l := &lab{
		t: t, name: fmt.Sprintf("bt%d-%d", os.Getpid(), nth),
		net: fmt.Sprintf("10.%d.%d", 64+os.Getpid()%128, (os.Getpid()/128+int(nth))%256),
	}
	if out, err := exec.Command("ip", "netns", "add", l.name).CombinedOutput(); err != nil {
		t.Skipf("no network namespaces here: %v %s", err, out)
	}
	t.Cleanup(func() { l.ip("netns del %s", l.name) })
	if out, err := exec.Command("ip", "-n", l.name, "rule", "add", "pref", "10", "from", "192.0.2.1", "blackhole").CombinedOutput(); err != nil {
		t.Skipf("nothing here that drops packets: %v %s", err, out)
	}
	here := fmt.Sprintf("b%d-%dh", os.Getpid(), nth)
	l.ip("link add %s type veth peer name uplink netns %s", here, l.name)
	l.ip("addr add %s.1/30 dev %s", l.net, here)
	l.ip("link set %s up", here)
	l.ip("-n %s addr add %s.2/30 dev uplink", l.name, l.net)
	l.ip("-n %s link set uplink up", l.name)
	l.ip("route add %s.0/24 via %s.2", l.net, l.net)
	l.ip("netns exec %s sh -c %s", l.name, "echo 1 >/proc/sys/net/ipv4/ip_forward")
	return l
}

// ip runs the tool of that name; an argument may hold blanks.
func (l *lab) ip(format string, args ...any) {
	l.t.Helper()
	words := strings.Fields(format)
	n := 0
	for i, w := range words {
		verbs := strings.Count(w, "%")
		words[i] = fmt.Sprintf(w, args[n:n+verbs]...)
		n += verbs
	}
	if out, err := exec.Command("ip", words...).CombinedOutput(); err != nil {
		l.t.Errorf("ip %s: %v %s", strings.Join(words, " "), err, out)
	}
}

// site is a namespace at the yard.
type site struct {
	lab    *lab
	name   string
	addr   string   // without port
	within []string // command that runs another there
}

// site makes one.
func (l *lab) site() site {
	l.t.Helper()
	l.sites++
	s := site{lab: l, name: fmt.Sprintf("%s-s%d", l.name, l.sites), addr: fmt.Sprintf("%s.%d", l.net, 4*l.sites+2)}
	s.within = []string{"ip", "netns", "exec", s.name}
	l.ip("netns add %s", s.name)
	l.t.Cleanup(func() { l.ip("netns del %s", s.name) })
	l.ip("-n %s link add s%d type veth peer name uplink netns %s", l.name, l.sites, s.name)
	l.ip("-n %s addr add %s.%d/30 dev s%d", l.name, l.net, 4*l.sites+1, l.sites)
	l.ip("-n %s link set s%d up", l.name, l.sites)
	l.ip("-n %s addr add %s/30 dev uplink", s.name, s.addr)
	l.ip("-n %s link set lo up", s.name)
	l.ip("-n %s link set uplink up", s.name)
	l.ip("-n %s route add default via %s.%d", s.name, l.net, 4*l.sites+1)
	return s
}

// here is this machine, as the sites see it.
func (l *lab) here() site { return site{lab: l, addr: l.net + ".1"} }

// part drops all between two of a lab, both ways, until join.
func (s site) part(from site) { s.rule("add", from) }

// join ends what part began.
func (s site) join(from site) { s.rule("del", from) }

func (s site) rule(do string, other site) {
	s.lab.t.Helper()
	s.lab.ip("-n %s rule "+do+" pref 10 from %s to %s blackhole", s.lab.name, s.addr, other.addr)
	s.lab.ip("-n %s rule "+do+" pref 10 from %s to %s blackhole", s.lab.name, other.addr, s.addr)
}
