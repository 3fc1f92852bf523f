// Package tape reads recorded inputs of a station: JSON lines, one input each,
// after a header that says when the tape began.
//
//	{"tape":1,"at":"2026-03-02T06:00:00Z"}
//	{"t":1.5,"level":0}
//	{"t":5.2,"text":"+1.2040\r\n"}
//	{"t":9,"do":"undo"}
package tape

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"benchtally/agent/station"
)

// maxLine bounds one line, in bytes.
const maxLine = 64 << 10

// maxSeconds bounds t to what a time.Duration holds: some 285 years.
const maxSeconds = 9e9

// Line is one input. Exactly one of its kinds is given.
type Line struct {
	N int           // of the line in the tape, from 1
	T time.Duration // since the tape began, microseconds count

	Level     *bool // electrical level of the switch line: high?
	Rest      *bool // of the second line of a changeover contact
	Retracted *bool // of the full-retract switch
	Bytes     []byte
	Action    *station.Action
}

// Error is a line that cannot be read. Its text says where and what would be right.
type Error struct {
	Name string // of the tape
	N    int    // of the line, from 1
	Text string
}

func (e *Error) Error() string { return fmt.Sprintf("%s:%d: %s", e.Name, e.N, e.Text) }

// Reader reads a tape line by line.
type Reader struct {
	At   time.Time // when the tape began
	name string
	scan *bufio.Scanner
	n    int
	last time.Duration
}

// NewReader reads the header. Name stands in errors.
func NewReader(r io.Reader, name string) (*Reader, error) {
	t := &Reader{name: name, scan: bufio.NewScanner(r)}
	t.scan.Buffer(make([]byte, 0, 4096), maxLine)
	text, err := t.next()
	if errors.Is(err, io.EOF) {
		return nil, &Error{name, 1, `the tape is empty: its first line must be {"tape":1,"at":"2026-03-02T06:00:00Z"}`}
	}
	if err != nil {
		return nil, err
	}
	var header struct {
		Tape int    `json:"tape"`
		At   string `json:"at"`
	}
	if err := strict(text, &header); err != nil {
		return nil, t.wrong(`no header (%s): the first line must be {"tape":1,"at":"2026-03-02T06:00:00Z"}`, err)
	}
	if header.Tape != 1 {
		return nil, t.wrong(`tape form %d: want {"tape":1,…}`, header.Tape)
	}
	if t.At, err = time.Parse(time.RFC3339Nano, header.At); err != nil {
		return nil, t.wrong("at %q is no time: write RFC 3339, such as 2026-03-02T06:00:00Z", header.At)
	}
	t.At = t.At.UTC()
	return t, nil
}

// IsHeader says whether a line is a tape's header, which live inputs do without.
func IsHeader(text []byte) bool {
	var header struct {
		Tape int    `json:"tape"`
		At   string `json:"at"`
	}
	return strict(text, &header) == nil && header.Tape != 0
}

// Text is the latest line as it stands in the tape, valid until the next call.
func (t *Reader) Text() []byte { return t.scan.Bytes() }

// Next reads the next input; io.EOF ends the tape. Empty lines are passed over.
func (t *Reader) Next() (Line, error) {
	text, err := t.next()
	if err != nil {
		return Line{}, err
	}
	l, seconds, err := parse(text)
	if err != nil {
		return Line{}, t.wrong("%s", err)
	}
	l.N = t.n
	if seconds == nil {
		return Line{}, t.wrong(`no "t": say when, in seconds since the tape began`)
	}
	if !(*seconds >= 0 && *seconds <= maxSeconds) {
		return Line{}, t.wrong("t %g: want 0 or more seconds since the tape began", *seconds)
	}
	l.T = time.Duration(math.Round(*seconds*1e6)) * time.Microsecond
	if l.T < t.last {
		return Line{}, t.wrong("t %g falls behind the line before (%g): times never fall", *seconds, t.last.Seconds())
	}
	t.last = l.T
	return l, nil
}

func (t *Reader) next() ([]byte, error) {
	for t.scan.Scan() {
		t.n++
		if text := bytes.TrimSpace(t.scan.Bytes()); len(text) > 0 {
			return text, nil
		}
	}
	t.n++
	if err := t.scan.Err(); errors.Is(err, bufio.ErrTooLong) {
		return nil, t.wrong("the line is longer than %d bytes", maxLine)
	} else if err != nil {
		return nil, fmt.Errorf("read %s: %w", t.name, err)
	}
	return nil, io.EOF
}

func (t *Reader) wrong(format string, args ...any) error {
	return &Error{t.name, t.n, fmt.Sprintf(format, args...)}
}

// Parse reads one input without regard to its time, as live inputs have it.
func Parse(text []byte) (Line, error) {
	l, _, err := parse(text)
	return l, err
}

// line is every key that a line may have.
type line struct {
	T         *float64 `json:"t"`
	Level     *int     `json:"level"`
	Rest      *int     `json:"rest"`
	Retracted *int     `json:"retracted"`
	Text      *string  `json:"text"`
	Hex       *string  `json:"hex"`
	station.Action
}

func parse(text []byte) (Line, *float64, error) {
	var raw line
	if err := strict(text, &raw); err != nil {
		return Line{}, nil, err
	}
	var l Line
	kinds := 0
	for _, level := range []struct {
		name string
		in   *int
		out  **bool
	}{{"level", raw.Level, &l.Level}, {"rest", raw.Rest, &l.Rest}, {"retracted", raw.Retracted, &l.Retracted}} {
		if level.in == nil {
			continue
		}
		if *level.in != 0 && *level.in != 1 {
			return Line{}, nil, fmt.Errorf("%s %d: want 0 or 1", level.name, *level.in)
		}
		high := *level.in == 1
		*level.out = &high
		kinds = 1 // the levels of several lines may change at once
	}
	if raw.Text != nil {
		l.Bytes = []byte(*raw.Text)
		kinds++
	}
	if raw.Hex != nil {
		b, err := hex.DecodeString(*raw.Hex)
		if err != nil {
			return Line{}, nil, fmt.Errorf("hex %q: want pairs of hexadecimal digits", *raw.Hex)
		}
		l.Bytes = b
		kinds++
	}
	if raw.Do != "" {
		if err := complete(raw.Action); err != nil {
			return Line{}, nil, err
		}
		l.Action = &raw.Action
		kinds++
	} else if raw.Action != (station.Action{}) {
		return Line{}, nil, errors.New(`an action's key without "do"`)
	}
	if kinds != 1 {
		return Line{}, nil, errors.New(`want one input a line: "level", "text", "hex" or "do"`)
	}
	return l, raw.T, nil
}

// complete says which key an action lacks.
func complete(a station.Action) error {
	lacks := func(key string) error { return fmt.Errorf("do %q lacks %q", a.Do, key) }
	switch a.Do {
	case station.DoLoad:
		if a.Cage == "" {
			return lacks("cage")
		}
	case station.DoStart:
		if a.Order == "" {
			return lacks("order")
		}
	case station.DoSet:
		if a.Setting == nil {
			return lacks("setting")
		}
	case station.DoCare:
		if a.Work == "" {
			return lacks("work")
		}
	case station.DoMeasure:
		if a.Piece == "" {
			return lacks("piece")
		}
	case station.DoUndo, station.DoDry, station.DoSame, station.DoFinish:
	default:
		return fmt.Errorf("do %q: want one of %v", a.Do, station.Dos())
	}
	return nil
}

// strict decodes exactly one JSON object without unknown keys.
func strict(text []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		var kind *json.UnmarshalTypeError
		if errors.As(err, &kind) {
			return fmt.Errorf("%q: want a %s, found a %s", kind.Field, plain(kind.Type.Kind().String()), kind.Value)
		}
		if errors.Is(err, io.ErrUnexpectedEOF) {
			return errors.New("not whole JSON: the line ends too early")
		}
		return fmt.Errorf("not JSON of this form: %s", bytes.TrimPrefix([]byte(err.Error()), []byte("json: ")))
	}
	if d.More() {
		return errors.New("more than one JSON object on the line")
	}
	return nil
}

// plain is a JSON type for what Go calls it.
func plain(kind string) string {
	switch kind {
	case "string", "struct":
		return map[string]string{"string": "text", "struct": "object"}[kind]
	default:
		return "whole number"
	}
}
