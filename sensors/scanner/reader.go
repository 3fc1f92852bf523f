package scanner

import (
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"benchtally/caliper/port"
)

// gap is the silence that ends a code without a terminator. At 1200 baud a
// character takes 8 ms and a USB adapter holds bytes back for 16 ms at most (from
// memory), so a whole code has no such gap.
const gap = 100 * time.Millisecond

// resumes is within what time of its latest byte the rest of a code that broke off
// may still come, as when the machine was busy; a person scans again later than that
// (own choice, no source).
const resumes = time.Second

// longest is the longest code that is read, in bytes. A label of the shop has some
// twenty.
const longest = 256

// flood is how many codes in a row that are no text are one fault (own choice, no
// source).
const flood = 3

// shown is how much of what was refused is told, in bytes.
const shown = 64

const (
	tooLong  = "no line end within 256 bytes: this is no label, or the scanner's baud rate and parity are others"
	beheaded = "the first code after the port was opened may have lost its beginning: scan it again"
	brokeOff = "the code broke off: no line end followed, which this scanner's other codes have; scan it again"
	noText   = "this is no text: check the scanner's baud rate, data bits and parity, and scan it again"
)

// Reader turns bytes and times into events. It holds one code at most whatever
// comes. It belongs to one goroutine; make it with NewReader.
type Reader struct {
	sevenBits bool

	code       []byte    // as far as it has come
	over       bool      // it was too long: what is left of it is dropped
	last       time.Time // the latest byte, or the port's opening
	synced     bool      // the next byte begins a code or continues a whole one
	terminated bool      // this scanner ends its codes with CR or LF
	broken     bool      // a code broke off: what comes now is its rest
	bad        int       // codes in a row that are no text, up to flood
	ration     port.Ration
	began      time.Time // of its own, which ration goes by

	events []Event
}

// NewReader makes a Reader of what comes after a port was opened at a time. Seven
// bits are those of a line with 7 data bits: bit 8, which some adapters leave as
// parity, is dropped.
func NewReader(sevenBits bool, opened time.Time) *Reader {
	return &Reader{sevenBits: sevenBits, last: opened, began: opened}
}

// Feed takes bytes that arrived at the time at; without any, time has passed. The
// bytes are not kept.
func (r *Reader) Feed(b []byte, at time.Time) []Event {
	r.events = nil
	if quiet := at.Sub(r.last); quiet < 0 {
		r.last = at // the clock was set back
	} else if quiet >= gap {
		r.end(r.last.Add(gap), false)
		r.synced = true
		r.broken = r.broken && quiet < resumes
	}
	for _, c := range b {
		if r.sevenBits {
			c &= 0x7F
		}
		r.last = at
		switch {
		case c == '\r' || c == '\n':
			r.end(at, true)
		case r.over:
		case len(r.code) == longest:
			r.refuse(at, r.code, tooLong)
			r.code, r.over = r.code[:0], true
		default:
			r.code = append(r.code, c)
		}
	}
	return r.events
}

// Wait is how long after the time at a Feed is wanted even if nothing arrives; 0:
// none is.
func (r *Reader) Wait(at time.Time) time.Duration {
	if len(r.code) == 0 && !r.over {
		return 0
	}
	return min(max(r.last.Add(gap).Sub(at), 1), gap)
}

// Restart tells that the port was opened or closed: a code that had begun is thrown
// away, and the next may have lost its beginning. Another scanner may be there.
func (r *Reader) Restart(at time.Time) {
	*r = Reader{sevenBits: r.sevenBits, code: r.code[:0], last: at, ration: r.ration, began: r.began}
}

// end ends the code, by a terminator or else by silence.
func (r *Reader) end(at time.Time, terminated bool) {
	code, over, synced := r.code, r.over, r.synced
	r.code, r.over = r.code[:0], false
	r.synced = r.synced || terminated
	text, legible := readable(code)
	none := text == "" && legible && !over
	rest := r.broken
	r.broken = !terminated && r.terminated && (rest || !none)
	if rest {
		code = nil // it may be the end of a secret, and nothing tells so any more
	}
	switch {
	case over || none:
	case !synced:
		r.told(Event{Kind: Refused, At: at, Reason: beheaded}) // what it is is not known
	case !legible:
		r.refuse(at, code, noText)
	case rest || r.broken:
		r.told(Event{Kind: Refused, At: at, Raw: raw(code), Reason: brokeOff})
	default:
		r.terminated = r.terminated || terminated
		if r.bad == flood && r.ration.Left(at.Sub(r.began)) {
			r.emit(Event{Kind: Clear, At: at, Reason: "the scanner's codes can be read again"})
			r.bad = 0
		}
		if r.bad < flood { // else it is told still
			r.bad = 0
		}
		r.emit(Event{Kind: Code, At: at, Text: text})
	}
}

// refuse tells of a code that is no text. When there are too many in a row they are
// one fault, and the others are not told.
func (r *Reader) refuse(at time.Time, code []byte, why string) {
	if r.bad == flood {
		return
	}
	r.bad++
	if !r.told(Event{Kind: Refused, At: at, Raw: raw(code), Reason: why}) {
		r.bad = flood
	}
	if r.bad == flood {
		r.emit(Event{Kind: Fault, At: at, Reason: "code after code is no text: check the scanner's baud rate, data bits and parity"})
	}
}

// told tells of what was refused, as long as there is not too much of it.
func (r *Reader) told(e Event) bool {
	if !r.ration.Take(e.At.Sub(r.began)) {
		return false
	}
	r.emit(e)
	return true
}

func (r *Reader) emit(e Event) { r.events = append(r.events, e) }

// framing is what scanners put before and behind a code: SOH, STX, ETX, EOT, tabs
// and blanks.
const framing = "\x01\x02\x03\x04\t "

// readable is the text of a code without its framing, and whether it is one. The
// separators inside the codes of others (FS, GS, RS, US) are text; a key that was
// lost (port.Lost) is none.
func readable(code []byte) (text string, ok bool) {
	text = strings.Trim(string(code), framing)
	bad := func(c rune) bool { return c < 0x1C || c == 0x7F }
	return text, utf8.ValidString(text) && !strings.ContainsFunc(text, bad)
}

// raw is the beginning of a code in printable form.
func raw(code []byte) string {
	quoted := strconv.QuoteToASCII(string(code[:min(len(code), shown)]))
	return quoted[1 : len(quoted)-1]
}
