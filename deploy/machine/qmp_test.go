//go:build linux

package machine

import (
	"encoding/json"
	"net"
	"testing"
)

// A qmp is QEMU's own control: it pulls cables. (QEMU Machine Protocol: JSON, a
// greeting, then one answer a command, with events in between.)
type qmp struct {
	t   *testing.T
	enc *json.Encoder
	dec *json.Decoder
}

func dialQMP(t *testing.T, c net.Conn) *qmp {
	t.Helper()
	q := &qmp{t: t, enc: json.NewEncoder(c), dec: json.NewDecoder(c)}
	var greeting map[string]any
	if err := q.dec.Decode(&greeting); err != nil {
		t.Fatalf("QMP's greeting: %v", err)
	}
	q.do("qmp_capabilities", nil)
	return q
}

// do carries out a command, which must succeed.
func (q *qmp) do(command string, arguments map[string]any) {
	q.t.Helper()
	ask := map[string]any{"execute": command}
	if arguments != nil {
		ask["arguments"] = arguments
	}
	if err := q.enc.Encode(ask); err != nil {
		q.t.Fatalf("%s: %v", command, err)
	}
	for {
		var a struct {
			Return json.RawMessage
			Error  json.RawMessage
			Event  string
		}
		switch err := q.dec.Decode(&a); {
		case err != nil:
			q.t.Fatalf("%s: %v", command, err)
		case a.Error != nil:
			q.t.Fatalf("%s: %s", command, a.Error)
		case a.Event == "":
			return
		}
	}
}

// unplug pulls the caliper's cable out of its socket.
func (q *qmp) unplug() { q.t.Helper(); q.do("device_del", map[string]any{"id": "caliper"}) }

// plug puts it in again.
func (q *qmp) plug() {
	q.t.Helper()
	q.do("device_add", map[string]any{
		"driver": "usb-serial", "id": "caliper", "chardev": "cable", "always-plugged": true, "bus": "usb.0", "port": "1", "serial": cableNumber,
	})
}
