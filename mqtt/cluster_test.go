package mqtt

import (
	"context"
	"fmt"
	"net"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// cluster is three NATS servers that keep all thrice, each behind a tap for the
// press and one for its collector.
type cluster struct {
	*trail // of the press at all nodes
	t      *testing.T
	nodes  []*nats
	taps   []*tap
	ears   []*tap
}

// place is where a node of a cluster runs.
type place struct {
	within              []string // command that runs another there
	mqtt, monitor, peer string   // addresses
}

// newCluster starts one at three places and waits until all nodes have found
// each other.
func newCluster(t *testing.T, places [3]place, strict bool) *cluster {
	t.Helper()
	c := &cluster{trail: &trail{acked: map[uint64]bool{}}, t: t}
	var routes []string
	for _, at := range places {
		routes = append(routes, strconv.Quote("nats-route://"+at.peer))
	}
	for i, at := range places {
		n := newNATS(t, fmt.Sprintf("n%d", i+1), "",
			fmt.Sprintf("cluster { name: plant, listen: %q, routes: [%s] }", at.peer, strings.Join(routes, ", ")))
		n.within, n.mqtt, n.monitor = at.within, at.mqtt, at.monitor
		if strict {
			n.pending = 1
		}
		n.start()
		c.nodes = append(c.nodes, n)
		c.taps = append(c.taps, newTapOn(t, n.mqtt, c.trail))
		c.ears = append(c.ears, newTap(t, n.mqtt))
	}
	t.Cleanup(func() {
		for i, n := range c.nodes {
			n.kill()
			if t.Failed() {
				t.Logf("node %d: %s", i+1, n.faults())
			}
		}
	})
	for _, n := range c.nodes {
		n.healthy()
	}
	return c
}

// settings are those of a press that knows all nodes, the first one first.
func (c *cluster) settings() Settings {
	var all []string
	for _, p := range c.taps {
		all = append(all, "tcp://"+p.addr)
	}
	s := settings("")
	s.Address = strings.Join(all, " ")
	s.Window, s.Heartbeat = 16, time.Second
	s.Timeout = 10 * time.Second // NATS takes up to 5 s to find a session
	s.AckTimeout = 4 * time.Second
	s.BackoffMin, s.BackoffMax = 50*time.Millisecond, 500*time.Millisecond
	return s
}

// at is the node that a client behind these taps is connected to.
func (c *cluster) at(taps []*tap) int {
	c.t.Helper()
	node := -1
	within(c.t, electing, "a connection", func() bool {
		for i, p := range taps {
			if p.standing() > 0 {
				node = i
			}
		}
		return node >= 0
	})
	return node
}

// retained waits for the status that a node hands out to who comes now.
func (c *cluster) retained(node int, want func(message) bool) {
	c.t.Helper()
	asked, last := 0, message{}
	defer func() {
		c.t.Logf("asked node %d for the retained status %d times, the last was %q", node+1, asked, last.payload)
	}()
	within(c.t, electing, "the retained status", func() bool {
		asked++
		s := &subscriber{end: make(chan struct{})}
		s.stay(c.t, func() (net.Conn, error) { return net.Dial("tcp", c.nodes[node].mqtt) }, "", "", testBase+"/status")
		defer s.leave()
		for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
			if all := s.messages(nil); len(all) > 0 {
				last = all[0]
				return want(last)
			}
		}
		return false
	})
}

// trial is a press at work that loses its node.
type trial struct {
	*cluster
	p     *running
	b     *box
	sub   *subscriber // of events
	watch *subscriber // of the status
	s     Settings
	feed  func() uint64
}

// loopback are three places on this machine.
func loopback(t *testing.T) (all [3]place) {
	t.Helper()
	for i := range all {
		all[i] = place{mqtt: freePort(t), monitor: freePort(t), peer: freePort(t)}
	}
	return all
}

// newTrial has the press and its collector at the same node, or at different
// ones. A strict one has one message at a time on its way, to the cluster and to
// the collector.
func newTrial(t *testing.T, places [3]place, together, strict bool) *trial {
	t.Helper()
	began := time.Now()
	c := newCluster(t, places, strict)
	tr := &trial{cluster: c, b: newBox(0), s: c.settings()}
	if strict {
		tr.s.Window = 1
	}
	c.checkSent(t, tr.b)
	tr.p = start(t, tr.s, tr.b, nil)
	within(t, electing, "the press connected", func() bool { return tr.p.State().Connected })
	press := c.at(c.taps)
	var addrs []string
	for i, ear := range c.ears {
		ear.shut((i == press) != together)
		addrs = append(addrs, ear.addr)
	}
	tr.sub = subscribeAs(t, "collector", testBase+"/event/#", addrs...)
	tr.watch = subscribeAs(t, "watch", testBase+"/status", addrs...)
	for _, ear := range c.ears {
		ear.shut(false)
	}
	if (c.at(c.taps) == c.at(c.ears)) != together {
		t.Fatalf("the press is at node %d, its collector at node %d", c.at(c.taps), c.at(c.ears))
	}
	tr.feed = feed(t, tr.p, tr.b, 10*time.Millisecond)
	tr.work()
	t.Logf("ready for work after %v", time.Since(began).Round(100*time.Millisecond))
	return tr
}

// electing is how long an election, and the attempts that hang during one, may
// take: 10 s were seen on a machine at rest.
const electing = 60 * time.Second

// work waits for another part of the load.
func (tr *trial) work() {
	tr.t.Helper()
	was := tr.b.cursor()
	within(tr.t, electing, "the next part of the load", func() bool { return tr.b.cursor() >= was+60 })
}

// lose waits until a press that loses its node is at another one.
func (tr *trial) lose(how string, node int, lose func()) {
	tr.t.Helper()
	session, began := tr.p.State().Session, time.Now()
	lose()
	within(tr.t, electing, "connected to another node", func() bool {
		s := tr.p.State()
		return s.Connected && s.Session > session && tr.taps[node].standing() == 0
	})
	was := tr.b.cursor()
	within(tr.t, electing, "events acknowledged", func() bool { return tr.b.cursor() > was })
	tr.t.Logf("%s: events are acknowledged again after %v", how, time.Since(began).Round(100*time.Millisecond))
}

// online waits until the status says so of the session that stands.
func (tr *trial) online() {
	tr.t.Helper()
	within(tr.t, electing, "online in the latest session", func() bool {
		all := tr.watch.messages(nil)
		return len(all) > 0 && tr.says(all[len(all)-1])
	})
}

// says reports whether a status is that of the session that stands.
func (tr *trial) says(m message) bool {
	got := statusOf(tr.t, m)
	return got.Online && got.Session == tr.p.State().Session
}

// harmless reports whether a retained status is that of the session that stands,
// or is to be read as unknown. A node of NATS 2.15.2 that had its retained
// messages by way of one that has died was seen handing out the old status for
// more than a minute.
func (tr *trial) harmless(m message) bool {
	return tr.says(m) || statusOf(tr.t, m).Expires.Before(time.Now())
}

// finish ends the load and checks that all has come. Of several events that are
// under way to a cluster while it loses a node, it may store a later one and not
// an earlier, which then comes again, and late; and what a dying node has on its
// way to a collector comes later than what the next node sends. With one at a
// time on both ways all come in order.
func (tr *trial) finish() {
	tr.t.Helper()
	n := tr.feed()
	ctx, cancel := context.WithTimeout(context.Background(), electing)
	defer cancel()
	if err := tr.p.Drain(ctx); err != nil {
		tr.t.Fatalf("%v; state %+v", err, tr.p.State())
	}
	repeats := tr.checkRepeats(tr.t, n, tr.s.Window)
	within(tr.t, electing, "the last event", func() bool { return distinct(tr.sub.messages(nil)) == int(n) })
	late, arrived := gaps(tr.t, tr.sub.messages(nil), n)
	if strict := tr.s.Window == 1; strict && len(late) > 0 {
		tr.t.Errorf("%d events came late, the first is %d", len(late), late[0])
	}
	tr.t.Logf("%d events in %d sessions; repeats: %d published, %d arrived; %d came late", n, tr.p.State().Session, repeats, arrived, len(late))
}

func TestClusterLosesTheNodeInUse(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name     string
		together bool
		strict   bool
	}{
		{"of the press", false, false},
		{"of the press and its collector", true, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			tr := newTrial(t, loopback(t), tc.together, tc.strict)
			node := tr.at(tr.taps)
			tr.lose("killed", node, tr.nodes[node].kill)
			tr.online()
			tr.retained(tr.at(tr.taps), tr.harmless)
			tr.finish()
		})
	}
}

func TestClusterWhoseNodeHangs(t *testing.T) {
	t.Parallel()
	tr := newTrial(t, loopback(t), false, true)
	node := tr.at(tr.taps)
	tr.lose("hangs", node, func() { tr.nodes[node].signal(syscall.SIGSTOP) })
	tr.online()
	tr.nodes[node].signal(syscall.SIGCONT)
	tr.work()
	// The stopped node publishes the will of the session that it had; the next
	// heartbeat puts that right.
	tr.online()
	tr.retained(node, tr.harmless)
	tr.finish()

	// Nobody is left to publish the will of a press whose node dies with it.
	node = tr.at(tr.taps)
	for _, p := range tr.taps {
		p.shut(true)
	}
	session := tr.p.State().Session
	tr.nodes[node].kill()
	tr.retained((node+1)%len(tr.nodes), func(m message) bool {
		got := statusOf(t, m)
		if got.Session != session {
			t.Errorf("status %+v, the latest session was %d", got, session)
		}
		return !got.Online || got.Expires.Before(time.Now())
	})
}

// within waits longer for a condition than until.
func within(t testing.TB, d time.Duration, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(d); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain: %s", what)
		}
	}
}
