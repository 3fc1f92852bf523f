package sparkplug

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/record"
)

// sessionFolder holds what a node says in one session, a .hex file for each
// message and what has to be read from it beside it. Both are written by -update;
// mqtt/outsiders/sparkplug.test.mjs has the npm package read the bytes and
// compares, and looks for figures that no program wrote.
const sessionFolder = messages + "/session"

// TestSession plays a session with all that a node says: births with every
// metric, data, qualities, what is historical, and deaths.
func TestSession(t *testing.T) {
	var told []heardMessage
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(time.Until(noon))
		s, log, set := &stub{host: "control-room"}, newLogbook(), settings()
		set.Host = s.host
		p := &play{start(t, set, log, s.network), t, s, log}
		synctest.Wait()
		for _, r := range everyKind()[:16] {
			p.wait(time.Second)
			p.say(r)
		}
		p.s.setState(fmt.Sprintf(`{"online":true,"timestamp":%d}`, noon.UnixMilli()))
		synctest.Wait()
		for _, r := range []record.Record{
			reading(30.52), fault(record.Clock, true), fault(record.Caliper, true), fault(record.Switch, true), fault(record.Caliper, false), stroke("Maß 直径/2"),
		} {
			p.wait(time.Second)
			p.say(r)
		}
		p.command()
		p.stop()
		told = s.messages()
	})
	var want []string
	for i, m := range told {
		name := fmt.Sprintf("%02d-%s", i+1, m.kind())
		want = append(want, name+".hex", name+".want")
		file := filepath.Join(sessionFolder, name)
		if *update {
			text, err := json.MarshalIndent(portray(t, m.payload, nil), "", "  ")
			if err != nil {
				t.Fatal(err)
			}
			var lines strings.Builder
			for part := range slices.Chunk(m.raw, 32) {
				fmt.Fprintln(&lines, hex.EncodeToString(part))
			}
			for end, b := range map[string][]byte{".hex": []byte(lines.String()), ".want": append(text, '\n')} {
				if err := os.WriteFile(file+end, b, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		if diff := cmp.Diff(readHex(t, file+".hex"), m.raw); diff != "" {
			t.Errorf("%s: bytes (-want +got):\n%s", name, diff)
		}
		text, err := os.ReadFile(file + ".want")
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(parsed(t, text), portray(t, m.payload, nil)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
	files, err := filepath.Glob(filepath.Join(sessionFolder, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if !slices.Contains(want, filepath.Base(file)) {
			t.Errorf("%s is of no message", file)
		}
	}
}
