package sparkplug

import (
	"strings"
	"testing"
	"unicode/utf8"
)

func TestTopic(t *testing.T) {
	for _, tc := range []struct {
		topic Topic
		want  string
	}{
		{Topic{Type: NBIRTH, Group: "riverside", Node: "hose-shop"}, "spBv1.0/riverside/NBIRTH/hose-shop"},
		{Topic{Type: NDEATH, Group: "riverside", Node: "hose-shop"}, "spBv1.0/riverside/NDEATH/hose-shop"},
		{Topic{Type: NDATA, Group: "riverside", Node: "hose-shop"}, "spBv1.0/riverside/NDATA/hose-shop"},
		{Topic{Type: NCMD, Group: "riverside", Node: "hose-shop"}, "spBv1.0/riverside/NCMD/hose-shop"},
		{Topic{Type: DBIRTH, Group: "riverside", Node: "hose-shop", Device: "north-bench"}, "spBv1.0/riverside/DBIRTH/hose-shop/north-bench"},
		{Topic{Type: DDEATH, Group: "riverside", Node: "hose-shop", Device: "north-bench"}, "spBv1.0/riverside/DDEATH/hose-shop/north-bench"},
		{Topic{Type: DDATA, Group: "Süd 1", Node: "n", Device: "直径"}, "spBv1.0/Süd 1/DDATA/n/直径"},
		{Topic{Type: STATE, Host: "scada"}, "spBv1.0/STATE/scada"},
		{Topic{Type: NBIRTH, Group: "STATE", Node: "n"}, "spBv1.0/STATE/NBIRTH/n"},
	} {
		t.Run(tc.want, func(t *testing.T) {
			if got := tc.topic.String(); got != tc.want {
				t.Errorf("String() = %q, want %q", got, tc.want)
			}
			if got, err := ParseTopic(tc.want); got != tc.topic || err != nil {
				t.Errorf("ParseTopic = %+v, %v, want %+v", got, err, tc.topic)
			}
		})
	}
}

func TestParseTopicRefuses(t *testing.T) {
	for _, tc := range []struct{ name, topic, want string }{
		{"nothing", "", "it does not begin with spBv1.0/"},
		{"the earlier namespace", "spAv1.0/g/NCMD/n", "it does not begin with spBv1.0/"},
		{"other case", "SPBV1.0/g/NCMD/n", "it does not begin with spBv1.0/"},
		{"namespace alone", "spBv1.0", "1 levels are neither"},
		{"group alone", "spBv1.0/g", "2 levels are neither"},
		{"no node", "spBv1.0/g/NCMD", "3 levels are neither"},
		{"empty node", "spBv1.0/g/NCMD/", "edge node id: it is empty"},
		{"empty group", "spBv1.0//NCMD/n", "group id: it is empty"},
		{"empty device", "spBv1.0/g/DDATA/n/", "device id: it is empty"},
		{"empty host", "spBv1.0/STATE/", "host id: it is empty"},
		{"node's message with a device", "spBv1.0/g/NCMD/n/d", "NCMD has no device"},
		{"device's message without one", "spBv1.0/g/DDATA/n", "DDATA has one device"},
		{"two devices", "spBv1.0/g/DDATA/n/d/e", "DDATA has one device"},
		{"very many levels", "spBv1.0/g/DDATA/n/d" + strings.Repeat("/e", 30000), "DDATA has one device"},
		{"command of a device", "spBv1.0/g/DCMD/n/d", `message type "DCMD" is not known`},
		{"small letters", "spBv1.0/g/ncmd/n", `message type "ncmd" is not known`},
		{"state of a node", "spBv1.0/g/STATE/n", `message type "STATE" is not known`},
		{"wildcard", "spBv1.0/g/NCMD/+", `edge node id: "+" may not hold +`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := ParseTopic(tc.topic)
			if got != (Topic{}) || err == nil || !strings.Contains(err.Error(), tc.want) || len(err.Error()) > 1000 {
				t.Errorf("got %+v, %v, want an error with %q", got, err, tc.want)
			}
		})
	}
}

func TestValidID(t *testing.T) {
	for _, tc := range []struct {
		name, id string
		want     string // part of the error; "" none
	}{
		{"plain", "hose-shop", ""},
		{"blank, dot, colon, dollar", "$Hose shop 1.a:b", ""},
		{"other scripts", "Süd 直径 🔧", ""},
		{"128 bytes", strings.Repeat("a", 128), ""},
		{"129 bytes", strings.Repeat("a", 129), "129 bytes long, at most 128"},
		{"nothing", "", "it is empty"},
		{"plus", "a+b", `"a+b" may not hold +`},
		{"slash", "a/b", `"a/b" may not hold /`},
		{"hash", "a#", `"a#" may not hold #`},
		{"nul", "a\x00", `may not hold U+0000`},
		{"line feed", "a\n", `may not hold U+000A`},
		{"delete", "a\x7f", `may not hold U+007F`},
		{"upper control", "a\u0085", `may not hold U+0085`},
		{"non-character", "a\uffff", `may not hold U+FFFF`},
		{"non-character in the middle", "a\ufdd0", `may not hold U+FDD0`},
		{"non-character of another plane", "a\U0001fffe", `may not hold U+1FFFE`},
		{"replacement character", "a\ufffd", ""},
		{"not utf-8", "a\xff", `"a\xff" is not UTF-8`},
		{"half of a pair", "a\xed\xa0\x80", `is not UTF-8`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			err := ValidID(tc.id)
			if tc.want == "" && err != nil || tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)) {
				t.Errorf("ValidID(%q) = %v, want an error with %q", tc.id, err, tc.want)
			}
		})
	}
}

func FuzzParseTopic(f *testing.F) {
	for _, s := range []string{"", "spBv1.0/g/NCMD/n", "spBv1.0/g/DDATA/n/d", "spBv1.0/STATE/h", "spBv1.0/STATE/NCMD/n", "spBv1.0/g/NCMD/n/", "spBv1.0//+/#", "spBv1.0/\xff/NCMD/n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseTopic(s)
		if err != nil {
			if got != (Topic{}) || len(err.Error()) > 1000 || !utf8.ValidString(err.Error()) {
				t.Errorf("%+v, error of %d bytes", got, len(err.Error()))
			}
			return
		}
		if got.String() != s {
			t.Errorf("%q is read as %+v, which is %q", s, got, got.String())
		}
		if strings.ContainsAny(s, "+#\x00\n") || !utf8.ValidString(s) || len(s) > 500 {
			t.Errorf("%q is taken", s)
		}
	})
}
