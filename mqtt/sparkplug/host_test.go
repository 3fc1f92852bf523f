package sparkplug

import (
	"encoding/json"
	"strings"
	"testing"
	"time"
)

func TestParseHostState(t *testing.T) {
	for _, tc := range []struct {
		name, text string
		want       HostState
	}{
		{"online", `{"online":true,"timestamp":1767268800000}`, HostState{true, noon}},
		{"offline", `{"online":false,"timestamp":1767268800000}`, HostState{false, noon}},
		{"other order and blanks", " {\n\"timestamp\" : 0 ,\t\"online\" : true }\r\n", HostState{true, time.UnixMilli(0).UTC()}},
		{"the last millisecond", `{"online":true,"timestamp":253402300799999}`, HostState{true, time.Date(9999, 12, 31, 23, 59, 59, 999e6, time.UTC)}},
		{"other keys", `{"host":{"online":[1,{"a":null}]},"online":true,"Online":false,"timestamp":1767268800000,"host":2}`, HostState{true, noon}},
		{"key with an escape", `{"\u006fnline":true,"timestamp":1767268800000}`, HostState{true, noon}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got, err := ParseHostState([]byte(tc.text)); got != tc.want || err != nil {
				t.Errorf("got %+v, %v, want %+v", got, err, tc.want)
			}
		})
	}
}

func TestParseHostStateRefuses(t *testing.T) {
	for _, tc := range []struct{ name, text, want string }{
		{"nothing", ``, "it is not JSON: unexpected EOF"},
		{"the text of Sparkplug 2.2", `OFFLINE`, "it is not JSON: invalid character"},
		{"text", `"online"`, "it is not a JSON object"},
		{"list", `[{"online":true,"timestamp":1}]`, "it is not a JSON object"},
		{"null", `null`, "it is not a JSON object"},
		{"empty object", `{}`, "online is missing"},
		{"no timestamp", `{"online":true}`, "timestamp is missing"},
		{"no online", `{"timestamp":1}`, "online is missing"},
		{"key in capitals", `{"ONLINE":true,"timestamp":1}`, "online is missing"},
		{"online as text", `{"online":"true","timestamp":1}`, `online is "\"true\"", want true or false`},
		{"online as a number", `{"online":1,"timestamp":1}`, `online is "1", want true or false`},
		{"online as null", `{"online":null,"timestamp":1}`, `online is "null", want true or false`},
		{"timestamp as text", `{"online":true,"timestamp":"1"}`, `timestamp is "\"1\"", want whole`},
		{"timestamp as null", `{"online":true,"timestamp":null}`, `timestamp is "null", want whole`},
		{"timestamp with a fraction", `{"online":true,"timestamp":1.5}`, `timestamp is "1.5", want whole`},
		{"timestamp with an exponent", `{"online":true,"timestamp":1e3}`, `timestamp is "1e3", want whole`},
		{"timestamp below 0", `{"online":true,"timestamp":-1}`, `timestamp is "-1", want whole`},
		{"timestamp of the year 10000", `{"online":true,"timestamp":253402300800000}`, `at most 253402300799999`},
		{"timestamp above 64 bits", `{"online":true,"timestamp":99999999999999999999}`, `want whole`},
		{"online twice", `{"online":true,"online":true,"timestamp":1}`, "online is there twice"},
		{"timestamp twice", `{"online":true,"timestamp":1,"timestamp":1}`, "timestamp is there twice"},
		{"cut off", `{"online":true,"timestamp":1`, "it is not JSON: unexpected EOF"},
		{"cut off in a value", `{"online":tr`, "it is not JSON: unexpected EOF"},
		{"something behind", `{"online":true,"timestamp":1}x`, "something follows the JSON object"},
		{"another object behind", `{"online":true,"timestamp":1}{}`, "something follows the JSON object"},
		{"key without quotes", `{online:true}`, "it is not JSON: invalid character"},
		{"too long", `{"online":true,"timestamp":1}` + strings.Repeat(" ", 4096), "4125 bytes, at most 4096 are read"},
		{"deep", `{"a":` + strings.Repeat("[", 4000), "it is not JSON"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := ParseHostState([]byte(tc.text))
			if got != (HostState{}) || err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %+v, %v, want an error with %q", got, err, tc.want)
			}
		})
	}
}

func FuzzParseHostState(f *testing.F) {
	for _, s := range []string{
		`{"online":true,"timestamp":1767268800000}`, `{"timestamp":0,"online":false,"a":[{}]}`, `{}`, `[]`, `OFFLINE`, `{"online":1,"timestamp":"1"}`,
		`{"online":true,"online":false,"timestamp":1}`, "{\"\xff\":1}", strings.Repeat("[", 100),
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := ParseHostState(b)
		if err != nil {
			if got != (HostState{}) || len(err.Error()) > 400 {
				t.Errorf("%+v, error of %d bytes", got, len(err.Error()))
			}
			return
		}
		// What is taken is JSON to the standard library as well, and says the same
		// by the exact names of its keys.
		var all map[string]any
		if err := json.Unmarshal(b, &all); err != nil {
			t.Fatalf("%q is taken: %v", b, err)
		}
		if all["online"] != got.Online || all["timestamp"] != float64(got.At.UnixMilli()) {
			t.Errorf("%q is read as %+v", b, got)
		}
	})
}
