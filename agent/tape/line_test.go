package tape

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/station"
)

func ptr[T any](v T) *T { return &v }

func TestParse(t *testing.T) {
	do := func(a station.Action) Line { return Line{Action: &a} }
	for _, c := range []struct {
		name, text string
		want       Line
	}{
		{"low level", `{"level":0}`, Line{Level: ptr(false)}},
		{"high level", `{"level":1}`, Line{Level: ptr(true)}},
		{"time is no part of it", `{"t":-5,"level":1}`, Line{Level: ptr(true)}},
		{"second contact", `{"rest":1}`, Line{Rest: ptr(true)}},
		{"full-retract switch", `{"retracted":0}`, Line{Retracted: ptr(false)}},
		{"all lines at once", `{"level":0,"rest":1,"retracted":0}`, Line{Level: ptr(false), Rest: ptr(true), Retracted: ptr(false)}},
		{"text", `{"text":"+1.2040\r\n"}`, Line{Bytes: []byte("+1.2040\r\n")}},
		{"text with escapes", `{"text":"\u0000\u007f\""}`, Line{Bytes: []byte("\x00\x7f\"")}},
		{"no text", `{"text":""}`, Line{Bytes: []byte{}}},
		{"hexadecimal", `{"hex":"0d0A"}`, Line{Bytes: []byte("\r\n")}},
		{"hexadecimal above 7f", `{"hex":"ff80"}`, Line{Bytes: []byte{0xff, 0x80}}},
		{"blanks in the object", " { \"level\" : 1 } ", Line{Level: ptr(true)}},
		{"load", `{"do":"load","cage":"C-21"}`, do(station.Action{Do: station.DoLoad, Cage: "C-21"})},
		{
			"start", `{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":0,"operator":"kj"}`,
			do(station.Action{Do: station.DoStart, Order: "A-1001", Spec: "hs-08", Quantity: 6, Setting: ptr(0), Operator: "kj"}),
		},
		{"set", `{"do":"set","setting":85}`, do(station.Action{Do: station.DoSet, Setting: ptr(85)})},
		{"undo", `{"do":"undo"}`, do(station.Action{Do: station.DoUndo})},
		{"dry", `{"do":"dry"}`, do(station.Action{Do: station.DoDry})},
		{"same", `{"do":"same"}`, do(station.Action{Do: station.DoSame})},
		{
			"care", `{"do":"care","cage":"C-21","work":"lubricate"}`,
			do(station.Action{Do: station.DoCare, Cage: "C-21", Work: "lubricate"}),
		},
		{"finish", `{"do":"finish"}`, do(station.Action{Do: station.DoFinish})},
		{"measure", `{"do":"measure","piece":"A-1001/3"}`, do(station.Action{Do: station.DoMeasure, Piece: "A-1001/3"})},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Parse([]byte(c.text))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
		})
	}
}

// refusals are lines that are no input, and what a person is told of each.
var refusals = []struct{ name, text, want string }{
	{"nothing", ``, `not whole JSON: the line ends too early`},
	{"cut", `{"level":`, `not whole JSON: the line ends too early`},
	{"comma last", `{"level":1,}`, `not JSON: invalid character '}' looking for beginning of object key string`},
	{"no JSON", `level 1`, `not JSON: invalid character 'l' looking for beginning of value`},
	{"a mark of byte order", "\ufeff{\"level\":1}", `not JSON: invalid character 'ï' looking for beginning of value`},
	{"not UTF-8", "{\"text\":\"\xff\"}", `not UTF-8: give bytes above 7f as "hex"`},
	{"a list", `[1]`, `want an object in braces, found a list`},
	{"a number", `1`, `want an object in braces, found a number`},
	{"null", `null`, `want one input a line: "level", "text", "hex" or "do"`},
	{"empty object", `{}`, `want one input a line: "level", "text", "hex" or "do"`},
	{"time alone", `{"t":1}`, `want one input a line: "level", "text", "hex" or "do"`},
	{"two objects", `{"level":1}{"level":0}`, `something stands behind the JSON object: want one object a line`},
	{"a brace too many", `{"level":1}}`, `something stands behind the JSON object: want one object a line`},
	{"text behind it", `{"level":1} up`, `something stands behind the JSON object: want one object a line`},
	{"unknown key", `{"levle":1}`, `unknown key "levle"`},
	{"a key of the station alone", `{"do":"undo","at":"2026-03-02T06:00:00Z"}`, `unknown key "at"`},
	{"level 2", `{"level":2}`, `level 2: want 0 or 1`},
	{"level -1", `{"rest":-1}`, `rest -1: want 0 or 1`},
	{"level as text", `{"retracted":"1"}`, `"retracted": want a whole number, found text`},
	{"level as a truth", `{"level":true}`, `"level": want a whole number, found true or false`},
	{"half a level", `{"level":0.5}`, `"level": want a whole number, found 0.5`},
	{"time as text", `{"t":"1","level":1}`, `"t": want a number, found text`},
	{"time beyond all numbers", `{"t":1e400,"level":1}`, `"t": want a number, found 1e400`},
	{"text as a number", `{"text":1.204}`, `"text": want text, found a number`},
	{"text as a list", `{"text":["a"]}`, `"text": want text, found a list`},
	{"odd hexadecimal", `{"hex":"0d0"}`, `hex "0d0": want pairs of hexadecimal digits`},
	{"no hexadecimal", `{"hex":"0x0d"}`, `hex "0x0d": want pairs of hexadecimal digits`},
	{"text and hexadecimal", `{"text":"a","hex":"61"}`, `want one input a line: "level", "text", "hex" or "do"`},
	{"level and text", `{"level":1,"text":"a"}`, `want one input a line: "level", "text", "hex" or "do"`},
	{"level and action", `{"level":1,"do":"undo"}`, `want one input a line: "level", "text", "hex" or "do"`},
	{
		"unknown action", `{"do":"jump"}`,
		`do "jump": want one of [load start set undo dry same care finish measure operator turn lot check proof scrap standard]`,
	},
	{"action as an object", `{"do":{"undo":1}}`, `"do": want text, found an object`},
	{"action's key alone", `{"setting":85}`, `an action's key without "do"`},
	{"action's key beside a level", `{"level":1,"cage":"C-21"}`, `an action's key without "do"`},
	{"load of nothing", `{"do":"load"}`, `do "load" lacks "cage"`},
	{"start of nothing", `{"do":"start","spec":"hs-08"}`, `do "start" lacks "order"`},
	{"set to nothing", `{"do":"set"}`, `do "set" lacks "setting"`},
	{"half a count", `{"do":"set","setting":85.5}`, `"setting": want a whole number, found 85.5`},
	{"quantity as text", `{"do":"start","order":"A-1","quantity":"6"}`, `"quantity": want a whole number, found text`},
	{"care of no kind", `{"do":"care","cage":"C-21"}`, `do "care" lacks "work"`},
	{"lot of no name", `{"do":"lot","maker":"M1"}`, `do "lot" lacks "lot"`},
	{"proof of nothing", `{"do":"proof","pressure_pa":70000000,"hold_s":45}`, `do "proof" lacks "assembly"`},
	{"proof without pressure", `{"do":"proof","assembly":1,"hold_s":45}`, `do "proof" lacks "pressure_pa"`},
	{"proof without time", `{"do":"proof","assembly":1,"pressure_pa":70000000}`, `do "proof" lacks "hold_s"`},
	{"scrap without reason", `{"do":"scrap","piece":"A-1001/1"}`, `do "scrap" lacks "reason"`},
	{"length without digits", `{"do":"check","assembly":1,"value_mm":"long"}`, `millimetres: "\"long\"" is not a plain decimal number`},
	{"measure nothing", `{"do":"measure"}`, `do "measure" lacks "piece"`},
}

func TestParseRefuses(t *testing.T) {
	for _, c := range refusals {
		t.Run(c.name, func(t *testing.T) {
			l, err := Parse([]byte(c.text))
			if err == nil || err.Error() != c.want {
				t.Errorf("got %v, want %s", err, c.want)
			}
			if diff := cmp.Diff(Line{}, l); diff != "" {
				t.Errorf("a refused line still gives:\n%s", diff)
			}
		})
	}
}

// TestActionsAreKnown: every action of the station can stand in a tape.
func TestActionsAreKnown(t *testing.T) {
	full := `,"cage":"C-21","order":"A-1001","setting":85,"work":"clean","piece":"A-1001/1","lot":"H-77","assembly":1,"pressure_pa":70000000,"hold_s":45,"reason":"cut not square"}`
	for _, do := range station.Dos() {
		l, err := Parse([]byte(`{"do":"` + string(do) + `"` + full))
		if err != nil || l.Action == nil || l.Action.Do != do {
			t.Errorf("%s: %+v, %v", do, l.Action, err)
		}
	}
	if _, err := Parse([]byte(`{"do":"press"` + full)); err == nil || !strings.Contains(err.Error(), `do "press"`) {
		t.Errorf("an action that does not exist: %v", err)
	}
}
