package mqtt

import (
	"net"
	"testing"
)

// A node that its cluster does not see, while the press and the collector see
// all nodes.
func TestClusterWhoseNodeIsPartedFromTheOthers(t *testing.T) {
	t.Parallel()
	l := newLab(t)
	var sites [3]site
	var places [3]place
	for i := range sites {
		sites[i] = l.site()
		port := func(p string) string { return net.JoinHostPort(sites[i].addr, p) }
		places[i] = place{within: sites[i].within, mqtt: port("1883"), monitor: port("8222"), peer: port("6222")}
	}
	tr := newTrial(t, places, false, true)
	node := tr.at(tr.taps)
	others := []site{sites[(node+1)%3], sites[(node+2)%3]}
	tr.lose("parted", node, func() {
		for _, s := range others {
			sites[node].part(s)
		}
	})
	tr.online()
	for _, s := range others {
		sites[node].join(s)
	}
	tr.work()
	tr.online()
	tr.retained(node, tr.harmless)
	tr.finish()
}
