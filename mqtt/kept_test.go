package mqtt

import (
	"flag"
	"fmt"
	"strings"
	"testing"
	"time"
)

// What a broker's acknowledgement is worth: how much of what it has acknowledged
// for a collector that is away does the collector get, when the broker dies at
// once or its queue is short. It prints a table:
//
//	go test ./mqtt -run TestKept -v -kept
//
// A process that is killed leaves what it has written to the kernel; a machine
// without power does not. So the table says nothing of power cuts.
var keptLong = flag.Bool("kept", false, "measure with more events, and with a cluster")

// host is a broker that can die.
type host struct {
	addrs []string // of its nodes
	end   func()
	again func()
}

// mosquittoThat is a Mosquitto with that config and that end.
func mosquittoThat(t *testing.T, config string, end func(*mosquitto)) host {
	t.Helper()
	m := newMosquitto(t, "allow_anonymous true\nlog_type none\npersistence_location "+t.TempDir()+"/\n"+config)
	return host{[]string{m.addr}, func() { end(m) }, m.start}
}

// natsThat is one NATS server that stores in that way, and is killed.
func natsThat(t *testing.T, store string) host {
	t.Helper()
	n := newNATS(t, "solo", store, "")
	n.start()
	n.ready()
	return host{[]string{n.mqtt}, n.kill, func() {
		n.start()
		n.ready()
	}}
}

func TestKept(t *testing.T) {
	t.Parallel()
	n, many := 200, 1200
	if *keptLong {
		n, many = 500, 5000
	}
	killed, stopped := (*mosquitto).kill, (*mosquitto).stop
	all := func(got, n int) bool { return got == n }
	most := func(got, n int) bool { return got >= n*9/10 && got <= n }
	none := func(got, _ int) bool { return got == 0 }
	thousand := func(got, _ int) bool { return got >= 950 && got <= 1050 }
	rows := []string{"| broker | set | it | acknowledged | the collector got |", "|---|---|---|---:|---:|"}
	for _, tc := range []struct {
		broker, set, it string
		begin           func(t *testing.T) host
		n               int
		long            bool
		want            func(got, n int) bool
	}{
		{"mosquitto", "`persistence false`", "is killed", func(t *testing.T) host {
			return mosquittoThat(t, "persistence false\n", killed)
		}, n, false, none},
		{"mosquitto", "`persistence true`", "is killed", func(t *testing.T) host {
			return mosquittoThat(t, "persistence true\n", killed)
		}, n, false, none},
		{"mosquitto", "`persistence true`, `autosave_interval 60`", "is killed within the minute", func(t *testing.T) host {
			return mosquittoThat(t, "persistence true\nautosave_interval 60\n", killed)
		}, n, false, none},
		{"mosquitto", "`persistence true`, `autosave_on_changes true`, `autosave_interval 1`", "is killed", func(t *testing.T) host {
			return mosquittoThat(t, "persistence true\nautosave_on_changes true\nautosave_interval 1\n", killed)
		}, n, false, most},
		{"mosquitto", "`persistence true`", "is stopped", func(t *testing.T) host {
			return mosquittoThat(t, "persistence true\n", stopped)
		}, n, false, all},
		{"mosquitto", "`persistence true`", "lives", func(t *testing.T) host {
			h := mosquittoThat(t, "persistence true\n", nil)
			h.end, h.again = func() {}, func() {}
			return h
		}, many, false, thousand},
		{"mosquitto", "`persistence true`, `max_queued_messages 0`", "lives", func(t *testing.T) host {
			h := mosquittoThat(t, "persistence true\nmax_queued_messages 0\n", nil)
			h.end, h.again = func() {}, func() {}
			return h
		}, many, false, all},
		{"NATS, 1 node", "", "is killed", func(t *testing.T) host { return natsThat(t, "") }, n, false, all},
		{"NATS, 1 node", "`sync_interval: always`", "is killed", func(t *testing.T) host { return natsThat(t, "sync_interval: always") }, n, false, all},
		{"NATS, 1 node", "", "is killed", func(t *testing.T) host { return natsThat(t, "") }, many, true, all},
		{"NATS, 3 nodes", "", "the node in use is killed", func(t *testing.T) host { return clusterThat(t, 1) }, n, true, all},
		{"NATS, 3 nodes", "", "all three are killed", func(t *testing.T) host { return clusterThat(t, 3) }, n, true, all},
	} {
		if tc.long && !*keptLong {
			continue
		}
		t.Run(strings.Join([]string{tc.broker, tc.set, tc.it}, " "), func(t *testing.T) {
			got := kept(t, tc.begin(t), tc.n)
			rows = append(rows, fmt.Sprintf("| %s | %s | %s | %d | %d |", tc.broker, tc.set, tc.it, tc.n, got))
			if !tc.want(got, tc.n) {
				t.Errorf("the collector got %d of %d: then the words on what brokers keep must change", got, tc.n)
			}
		})
	}
	t.Logf("what brokers keep of what they acknowledge:\n%s", strings.Join(rows, "\n"))
}

// clusterThat is a cluster of which so many nodes are killed, the one in use
// first.
func clusterThat(t *testing.T, killed int) host {
	t.Helper()
	c := newCluster(t, loopback(t), true)
	var addrs []string
	for _, p := range c.taps {
		addrs = append(addrs, p.addr)
	}
	var dead []*nats
	return host{addrs, func() {
		first := c.at(c.taps)
		for i := range killed {
			n := c.nodes[(first+i)%3]
			n.kill()
			dead = append(dead, n)
		}
	}, func() {
		for _, n := range dead {
			n.start()
		}
		for _, n := range c.nodes {
			n.healthy()
		}
	}}
}

// kept publishes n events for a collector that is away, ends the broker as soon
// as the last is acknowledged, begins it again and tells how many the collector
// gets.
func kept(t *testing.T, h host, n int) int {
	t.Helper()
	subscribeAs(t, "collector", testBase+"/event/#", h.addrs...).leave()
	s := settings("")
	s.Address = "tcp://" + strings.Join(h.addrs, " tcp://")
	s.Window, s.Timeout = 16, 10*time.Second
	b := newBox(n)
	p := start(t, s, b, nil)
	within(t, electing, "all acknowledged", func() bool { return b.cursor() == uint64(n) })
	h.end()
	h.again()
	sub := subscribeAs(t, "collector", testBase+"/event/#", h.addrs...)
	// One that comes behind all others says that these have come. While the
	// queue is full, it may be dropped as well.
	within(t, electing, "an event behind the others", func() bool {
		b.add(1)
		p.Wake()
		for end := time.Now().Add(time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
			if all := sub.messages(nil); len(all) > 0 && sub.latest().seq() > uint64(n) {
				return true
			}
		}
		return false
	})
	got := map[uint64]bool{}
	for _, m := range sub.messages(nil) {
		if m.seq() <= uint64(n) {
			got[m.seq()] = true
		}
	}
	return len(got)
}
