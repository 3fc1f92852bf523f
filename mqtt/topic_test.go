package mqtt

import (
	"strings"
	"testing"
	"unicode/utf8"

	"benchtally/agent/record"
)

func TestValidBase(t *testing.T) {
	for _, tc := range []struct {
		name, base string
		want       string // part of the error; "" none
	}{
		{"shop and press", "riverside/hose-shop/north-bench", ""},
		{"one level", "n", ""},
		{"digits and dashes", "2/-/0-9", ""},
		{"eight levels", "a/b/c/d/e/f/g/h", ""},
		{"128 bytes", strings.Repeat("a", 128), ""},
		{"129 bytes", strings.Repeat("a", 129), "129 bytes long, at most 128"},
		{"nine levels", "a/b/c/d/e/f/g/h/i", "9 levels, at most 8"},
		{"nothing", "", "level 1 is empty"},
		{"slash at the front", "/riverside", "level 1 is empty"},
		{"slash at the end", "riverside/", "level 2 is empty"},
		{"two slashes", "riverside//north", "level 2 is empty"},
		{"capital", "riverside/North", `level 2, "North", may hold only a-z, 0-9 and -`},
		{"blank", "river side", `level 1, "river side", may hold`},
		{"dot", "a/b.c", `level 2, "b.c", may hold`},
		{"underscore", "a_b", `may hold only`},
		{"all of one level", "riverside/+", `level 2, "+", may hold`},
		{"all levels", "riverside/#", `level 2, "#", may hold`},
		{"broker's own", "$sys", `level 1, "$sys", may hold`},
		{"umlaut", "süd", `may hold only`},
		{"nul", "a\x00b", `"a\x00b", may hold`},
		{"not utf-8", "\xff", `"\xff", may hold`},
		{"two faults at once", "A//b", `level 1, "A", may hold only a-z, 0-9 and -; level 2 is empty`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			err := ValidBase(tc.base)
			switch {
			case tc.want == "" && err != nil:
				t.Errorf("ValidBase(%q) = %v, want nil", tc.base, err)
			case tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)):
				t.Errorf("ValidBase(%q) = %v, want an error with %q", tc.base, err, tc.want)
			}
		})
	}
}

// allTopics are the topics of a press.
func allTopics(base string) []string {
	topics := []string{Status.Under(base)}
	for _, r := range retained {
		topics = append(topics, r.Under(base))
	}
	for _, k := range record.Kinds() {
		topics = append(topics, EventTopic(k).Under(base))
	}
	return topics
}

func TestTopicsAreTheAgreedOnes(t *testing.T) {
	want := []string{
		"b/status", "b/info", "b/state/work", "b/state/cage", "b/state/last", "b/state/health",
		"b/event/start", "b/event/finish", "b/event/set", "b/event/load",
	}
	if got := allTopics("b")[:len(want)]; strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Rules of MQTT 3.1.1, OASIS Standard, section 4.7: [MQTT-4.7.1-1] no wildcard
// characters in a topic name, [MQTT-4.7.3-1] at least one character,
// [MQTT-4.7.3-2] no U+0000, [MQTT-4.7.3-3] at most 65,535 bytes of UTF-8; a
// leading $ is the server's (4.7.2). Clause numbers from memory.
func checkTopicName(t *testing.T, topic string) {
	t.Helper()
	if topic == "" || len(topic) > 65535 || !utf8.ValidString(topic) || topic[0] == '$' || strings.ContainsAny(topic, "+#\x00") {
		t.Errorf("%q is no topic name of MQTT 3.1.1, section 4.7", topic)
	}
}

func TestTopicsFollowMQTT(t *testing.T) {
	for _, base := range []string{"n", testBase, strings.Repeat("a", 128), "a/b/c/d/e/f/g/h"} {
		for _, topic := range allTopics(base) {
			checkTopicName(t, topic)
			if !strings.HasPrefix(topic, base+"/") {
				t.Errorf("%q does not lie under %q", topic, base)
			}
		}
	}
}

func FuzzValidBase(f *testing.F) {
	for _, s := range []string{"", "a", testBase, "a//b", "+", "a/#", "A", "a\x00", strings.Repeat("a/", 70), "ä"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, base string) {
		err := ValidBase(base)
		if err != nil {
			if text := err.Error(); len(text) > 4096 || !utf8.ValidString(text) {
				t.Errorf("ValidBase(%q): error of %d bytes", base, len(text))
			}
			return
		}
		checkTopicName(t, base)
		if n := strings.Count(base, "/") + 1; n > 8 || len(base) > 128 || strings.Contains("/"+base+"/", "//") {
			t.Errorf("ValidBase(%q) = nil: %d levels, %d bytes", base, n, len(base))
		}
		for _, c := range []byte(base) {
			if !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz0123456789-/", rune(c)) {
				t.Errorf("ValidBase(%q) = nil: holds %q", base, c)
			}
		}
	})
}
