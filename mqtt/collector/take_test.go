package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
)

const base = "riverside/hose-shop/north-bench"

// event is a message as a press publishes it.
func event(store, run string, seq int, kind, at, more string) string {
	return fmt.Sprintf(`{"specversion":"1.0","id":"%s-%s-%d","source":"/%s","type":"benchtally.%s.v1","time":"%s",`+
		`"datacontenttype":"application/json","sequence":"%020d","data":{"seq":%[3]d,"at":"%[6]s","kind":"%[5]s"%[8]s}}`, store, run, seq, base, kind, at, seq, more)
}

const noon = "2026-03-02T12:00:00.000000Z"

func TestTakeEvent(t *testing.T) {
	_, db := newDatabase(t)
	good := event("s1", "r1", 7, "stroke", noon, `,"cage":"C-21"`)
	on := base + "/event/stroke"
	change := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %s in %s", old, good)
		}
		return strings.Replace(good, old, new, 1)
	}
	for _, row := range []struct{ name, topic, payload, want, reason string }{
		{"an event", on, good, "kept", ""},
		{"the same bytes again", on, good, "repeat", ""},
		{"spread over lines", on, strings.ReplaceAll(event("s1", "r1", 8, "stroke", noon, ""), ",", ",\n "), "kept", ""},
		{"a key that is not known", on, strings.Replace(event("s1", "r1", 9, "stroke", noon, ""), `"data"`, `"traceparent":"00-ab","data"`, 1), "kept", ""},
		{"NUL, and a backslash before u0000", on, event("s1", "r1", 10, "stroke", noon, `,"raw":"\u0000\u0000a\\u0000b\\\u0000"`), "kept", ""},
		{"no JSON", on, "stroke!", "refused", "invalid input syntax for type json"},
		{"nothing", on, "", "refused", "invalid input syntax for type json"},
		{"not UTF-8", on, "\xff", "refused", "invalid byte sequence"},
		{"NUL itself", on, change("C-21", "C\x00"), "refused", "invalid byte sequence"},
		{"half a surrogate pair", on, change("C-21", `\ud800`), "refused", "invalid input syntax for type json"},
		{"a number", on, "5", "refused", "no CloudEvent 1.0"},
		{"another version", on, change(`"1.0"`, `"0.3"`), "refused", "no CloudEvent 1.0"},
		{"no id", on, change(`"id":"s1-r1-7",`, ""), "refused", "its id is not"},
		{"an id without a run", on, change("s1-r1-7", "s1-7"), "refused", "its id is not"},
		{"a long id", on, change("s1-r1-7", strings.Repeat("s", 250)+"-r1-7"), "refused", "longer than 200 characters"},
		{"another sequence than in the id", on, change("00007\"", "00008\""), "refused", "its id is not"},
		{"no sequence", on, change(`"sequence"`, `"seq"`), "refused", "its id is not"},
		{"a sequence beyond bigint", on, strings.NewReplacer("r1-7", "r1-9999999999999999999", "00000000000000000007", "09999999999999999999").Replace(good), "refused", "out of range"},
		{"in the name of another press", on, change("north-bench", "south-bench"), "refused", "its source is not"},
		{"of another kind than its topic", base + "/event/reading", good, "refused", "its type is not"},
		{"no record", on, change(`"data":{`, `"data":7,"x":{`), "refused", "no record in data"},
		{"time in words", on, change(noon, "tomorrow"), "refused", "no time as RFC 3339"},
		{"a month that is none", on, change("2026-03", "2026-13"), "refused", "out of range"},
		{"too long", on, change("C-21", strings.Repeat("C", 65536)), "refused", "longer than 65536 bytes"},
		{"deep", on, strings.Repeat("[", 60000), "refused", "stack depth limit exceeded"},
		{"a topic of other things", "riverside/hose-shop/lamp", good, "refused", "a topic of neither"},
		{"a press with a blank in its name", "riverside/$(reboot) /event/stroke", good, "refused", "a topic of neither"},
		{"status", base + "/status", `{"online":true,"session":3,"time":"` + noon + `","expires":"2026-03-02T12:02:30Z"}`, "status", ""},
		{"status of nothing", base + "/status", `{}`, "refused", "no time as RFC 3339"},
		{"status in a word", base + "/status", `online`, "refused", "invalid input syntax for type json"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if _, err := db.Exec(t.Context(), "DELETE FROM refused"); err != nil {
				t.Fatal(err)
			}
			var got string
			if err := db.QueryRow(t.Context(), "SELECT take_event($1::text, $2::bytea)", row.topic, []byte(row.payload)).Scan(&got); err != nil {
				t.Fatal(err)
			}
			if got != row.want {
				t.Errorf("%s, want %s", got, row.want)
			}
			reason := ask(t, db, "SELECT reason, size, octet_length(payload) FROM refused")
			if row.want != "refused" {
				if reason != "" {
					t.Errorf("refused: %s", reason)
				}
				return
			}
			if !strings.Contains(reason, row.reason) || !strings.HasSuffix(reason, fmt.Sprintf(" %d %d", len(row.payload), min(len(row.payload), 4096))) {
				t.Errorf("refused with %q, want %q and the size %d", reason, row.reason, len(row.payload))
			}
		})
	}
	if got, want := ask(t, db, "SELECT source, id, store, run, sequence, kind, time, data ->> 'cage', received > now() - interval '1 minute' FROM event WHERE sequence = 7"),
		"/"+base+" s1-r1-7 s1 r1 7 stroke 2026-03-02 12:00:00+00 C-21 t"; got != want {
		t.Errorf("kept %s, want %s", got, want)
	}
	if got, want := ask(t, db, "SELECT data ->> 'raw' FROM event WHERE sequence = 10"), "��a\\u0000b\\�"; got != want {
		t.Errorf("raw %q, want %q", got, want)
	}
}

// The other road: a program that knows nothing of all this and calls the
// function with a topic and a text or a document.
func TestTakeEventAsTextOrDocument(t *testing.T) {
	_, db := newDatabase(t)
	good := event("s1", "r1", 7, "stroke", noon, "")
	for _, row := range []struct{ call, want string }{
		{"SELECT take_event('" + base + "/event/stroke', '" + good + "')", "kept"}, // of no type at all
		{"SELECT take_event('" + base + "/event/stroke', '" + good + "'::text)", "repeat"},
		{"SELECT take_event('" + base + "/event/stroke', '" + good + "'::jsonb)", "repeat"},
		{"SELECT take_event('" + base + "/event/stroke', 'no JSON')", "refused"},
	} {
		if got := ask(t, db, row.call); got != row.want {
			t.Errorf("%s: %s, want %s", row.call, got, row.want)
		}
	}
}

func TestStatusOfPresses(t *testing.T) {
	_, db := newDatabase(t)
	say := func(press, payload string) {
		t.Helper()
		if got := ask(t, db, "SELECT take_event($1, $2::text)", "riverside/hose-shop/"+press+"/status", payload); got != "status" {
			t.Fatalf("%s: %s", payload, got)
		}
	}
	status := func(online bool, session int, at, expires, reason string) string {
		return fmt.Sprintf(`{"online":%t,"session":%d,"time":"%s","expires":"%s","reason":"%s"}`, online, session, at, expires, reason)
	}
	const never = "9999-12-31T23:59:59Z"
	say("here", status(true, 4, "2026-03-02T06:00:00Z", never, ""))
	say("here", status(false, 3, "2026-03-02T05:00:00Z", never, "connection lost")) // the will of an older session comes late
	say("left", status(true, 1, "2026-03-02T06:00:00Z", never, ""))
	say("left", status(false, 1, "2026-03-02T06:00:00Z", never, "connection lost")) // a will has the time of its connecting
	say("silent", status(true, 1, "2026-03-02T06:00:00Z", "2026-03-02T06:02:30Z", ""))
	say("new-card", status(true, 900, "2026-03-02T06:00:00Z", never, ""))
	say("new-card", status(false, 1, "2026-03-03T06:00:00Z", never, "stopped"))
	say("gone", status(true, 1, "2026-03-02T06:00:00Z", never, ""))
	say("gone", "")
	want := "here online \nleft offline connection lost\nnew-card offline stopped\nsilent unknown "
	if got := ask(t, db, "SELECT substr(source, 22), state, reason FROM press ORDER BY source"); got != want {
		t.Errorf("presses:\n%s\nwant:\n%s", got, want)
	}
}

// Whatever comes is kept, refused or a status; it never fails, which would stop
// what is behind it. What is kept is what the bytes say.
func FuzzTakeEvent(f *testing.F) {
	for _, s := range []string{event("s1", "r1", 7, "stroke", noon, `,"raw":"\u0000"`), `{"online":true}`, "", "5", `"\ud800"`, "[[", `{"specversion":"1.0","sequence":"1e131000"}`, "\xff\x00"} {
		f.Add(base+"/event/stroke", []byte(s))
		f.Add(base+"/status", []byte(s))
	}
	if shared == nil {
		shared = newPostgres(f, "fsync = off")
		f.Cleanup(func() { shared.remove(); shared = nil }) // each worker of a fuzzing run has its own
	}
	_, db := shared.database(f)
	f.Fuzz(func(t *testing.T, topic string, payload []byte) {
		if payload == nil {
			payload = []byte{}
		}
		topic = strings.ReplaceAll(strings.ToValidUTF8(topic, "?"), "\x00", "?")
		var got string
		if err := db.QueryRow(t.Context(), "SELECT take_event($1::text, $2::bytea)", topic, payload).Scan(&got); err != nil {
			t.Fatal(err)
		}
		switch got {
		case "refused", "status":
		case "kept", "repeat":
			var e struct{ ID, Source, Sequence string }
			if err := json.Unmarshal(payload, &e); err != nil {
				t.Fatalf("%s: %v", got, err)
			}
			if n := ask(t, db, "SELECT count(*) FROM event WHERE source = $1 AND id = $2", e.Source, e.ID); n != "1" {
				t.Errorf("%s %s is kept %s times", e.Source, e.ID, n)
			}
		default:
			t.Errorf("answer %q", got)
		}
	})
}
