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
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"
)

// maxLine bounds one line, in bytes.
const maxLine = 64 << 10

// maxSeconds bounds t to what a time.Duration holds: some 285 years.
const maxSeconds = 9e9

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
	end  error // why no more lines come: io.EOF, a line too long, a fault of the source
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
// Behind a line that cannot be read comes the next one, but for a line too long.
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
		return Line{}, t.wrong("t %v: want 0 to %.0f seconds since the tape began", *seconds, maxSeconds)
	}
	l.T = time.Duration(math.Round(*seconds*1e6)) * time.Microsecond
	if l.T < t.last {
		return Line{}, t.wrong("t %s falls behind the line before (%s): times never fall", digits(*seconds), digits(t.last.Seconds()))
	}
	t.last = l.T
	return l, nil
}

func (t *Reader) next() ([]byte, error) {
	for t.end == nil && t.scan.Scan() {
		t.n++
		if text := bytes.Trim(t.scan.Bytes(), " \t\r"); len(text) > 0 { // what JSON takes for blank
			return text, nil
		}
	}
	if t.end != nil {
		return nil, t.end
	}
	t.n++
	switch err := t.scan.Err(); {
	case errors.Is(err, bufio.ErrTooLong):
		t.end = t.wrong("the line is longer than %d bytes", maxLine)
	case err != nil:
		t.end = fmt.Errorf("read %s: %w", t.name, err)
	default:
		t.end = io.EOF
	}
	return nil, t.end
}

func (t *Reader) wrong(format string, args ...any) error {
	return &Error{t.name, t.n, fmt.Sprintf(format, args...)}
}

// digits writes seconds without an exponent, as a tape has them.
func digits(seconds float64) string { return strconv.FormatFloat(seconds, 'f', -1, 64) }
