package sparkplug

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Protobuf's own compiler prints a message by field numbers, without any schema.
// The numbers and data types are those of the tables in the specification,
// chapter 6.
func TestProtoc(t *testing.T) {
	protoc, err := exec.LookPath("protoc")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("protoc is not installed; it is needed where CI is set")
		}
		t.Skip("protoc is not installed")
	}
	const at = "1767268800000"
	for _, tc := range []struct{ name, want string }{
		{"nbirth", `1: ` + at + `
			2 { 1: "bdSeq" 3: ` + at + ` 4: 4 11: 7 }
			2 { 1: "Node Control/Rebirth" 3: ` + at + ` 4: 11 14: 0 }
			2 { 1: "Version" 3: ` + at + ` 4: 12 15: "v0.9.0" }
			2 { 1: "Started" 3: ` + at + ` 4: 13 11: 1767268798500 }
			3: 0`},
		{"ndeath", `1: ` + at + ` 2 { 1: "bdSeq" 3: ` + at + ` 4: 4 11: 255 }`},
		{"dbirth", `1: ` + at + `
			2 { 1: "Strokes" 3: ` + at + ` 4: 4 11: 123456 }
			2 { 1: "Die Cage/Setting" 3: ` + at + ` 4: 3 9 { 1: "engUnit" 2 { 1: 12 8: "in/1000" } } 10: 4294967291 }
			2 { 1: "Last/Crimp Diameter" 3: ` + at + ` 4: 10 9 { 1: "engUnit" 2 { 1: 12 8: "in" } } 13: 0x3fea000000000000 }
			2 { 1: "Last/Error" 3: ` + at + ` 4: 4 11: 18446744073709551611 }
			2 { 1: "Last/Outcome" 3: ` + at + ` 4: 12 15: "pass" }
			2 { 1: "Last/Note" 3: ` + at + ` 4: 12 15: "" }
			2 { 1: "Working" 3: ` + at + ` 4: 11 6: 1 14: 1 }
			3: 1`},
		{"dbirth_qualities", `1: ` + at + `
			2 { 1: "bad" 3: ` + at + ` 4: 10 9 { 1: "Quality" 2 { 1: 3 3: 0 } } 13: 0x3ff0000000000000 }
			2 { 1: "good" 3: ` + at + ` 4: 10 9 { 1: "Quality" 1: "engUnit" 2 { 1: 3 3: 192 } 2 { 1: 12 8: "in" } } 13: 0x4000000000000000 }
			2 { 1: "stale" 3: ` + at + ` 4: 10 9 { 1: "Quality" 1: "engUnit" 2 { 1: 3 3: 500 } 2 { 1: 12 8: "in" } } 13: 0x4008000000000000 }
			3: 3`},
		{"ddata", `1: ` + at + `
			2 { 1: "Die Cage/Setting" 3: ` + at + ` 10: 4294967291 }
			2 { 1: "Strokes" 3: ` + at + ` 11: 18446744073709551611 }
			2 { 1: "Last/Crimp Diameter" 3: ` + at + ` 9 { 1: "Quality" 2 { 1: 3 3: 500 } } 13: 0x3fea000000000000 }
			2 { 1: "Last/Outcome" 3: ` + at + ` 15: "fail" }
			2 { 1: "Working" 3: ` + at + ` 14: 0 }
			2 { 1: "Last/At" 3: ` + at + ` 11: ` + at + ` }
			2 { 1: "Last/Error" 3: ` + at + ` 7: 1 }
			3: 5`},
		{"ddata_historical", `1: ` + at + `
			2 { 1: "Last/Crimp Diameter" 3: 1767265200000 5: 1 13: 0x3fea000000000000 }
			2 { 1: "Last/Crimp Diameter" 3: 1767268740000 5: 1 6: 1 13: 0x3fe0000000000000 }
			3: 255`},
		{"ddeath", `1: ` + at + ` 3: 6`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := exec.Command(protoc, "--decode_raw")
			c.Stdin = bytes.NewReader(readHex(t, filepath.Join(messages, tc.name+".hex")))
			out, err := c.CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			got, want := strings.Join(strings.Fields(string(out)), " "), strings.Join(strings.Fields(tc.want), " ")
			if got != want {
				t.Errorf("\n got %s\nwant %s", got, want)
			}
		})
	}
}
