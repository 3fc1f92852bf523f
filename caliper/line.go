package caliper

import (
	"bytes"
	"time"

	"benchtally/caliper/frame"
)

// resumes is within what time of its latest byte the rest of a frame that broke
// off may still come, as when the machine was busy; a person sends again later than
// that (own choice, no source).
const resumes = time.Second

// take adds one byte to the frame.
func (r *Reader) take(c byte) {
	if r.settings.SevenBits {
		c &= 0x7F
	}
	if !r.Synced && len(r.Line) == 0 && r.Now-r.Last >= gap {
		r.Synced = true
	}
	r.Broken = r.Broken && r.Now-r.Last < resumes
	r.Last = r.Now
	switch {
	case c == '\r' || c == '\n':
		r.end(true)
	case r.Over > 0:
		// One refusal for every further 64 bytes: a flood without line ends
		// must still be told as garbage.
		if r.Over++; r.Over > frame.MaxLen {
			r.Over = 1
			r.refuse(nil, tooLong)
		}
	case len(r.Line) == frame.MaxLen:
		r.refuse(r.Line, tooLong)
		r.Line, r.Over = r.Line[:0], 1
	default:
		r.Line = append(r.Line, c)
	}
}

const (
	tooLong  = "no line end within 64 bytes: check baud rate, parity and format"
	beheaded = "the first frame after the port was opened may have lost its beginning: send again"
	brokeOff = "the frame broke off: no line end followed, which this caliper's other frames have; send again"
	restOnly = "it may be the rest of a frame that broke off just before: send again"
)

// end ends the frame, by a terminator or else by silence.
func (r *Reader) end(terminated bool) {
	line := r.Line
	r.Line = r.Line[:0]
	r.lines++
	rest := r.Broken && !signed(line) // "25.40" may be what is left of "125.40"
	r.Broken = r.Broken && !terminated
	if r.Over > 0 {
		r.Broken = !terminated && r.Terminated
		r.Over, r.Synced = 0, true
		return
	}
	if !r.Synced {
		r.Synced = true
		if len(line) > 0 {
			r.Broken = !terminated && r.Terminated
			r.refuse(line, beheaded)
		}
		return
	}
	if blank(line) {
		return
	}
	if !terminated && r.Terminated {
		r.Broken = true
		r.refuse(line, brokeOff)
		return
	}
	if rest {
		r.refuse(line, restOnly)
		return
	}
	// Frames of a fixed length without terminators may follow each other
	// without a gap.
	if n := r.decoder.Size(); !terminated && n > 0 && len(line)%n == 0 {
		for ; len(line) > n; line = line[n:] {
			r.frame(line[:n], false)
		}
	}
	r.frame(line, terminated)
}

// signed tells whether a frame has its sign: nothing is lost before one.
func signed(line []byte) bool {
	line = bytes.TrimLeft(line, " ")
	return len(line) > 0 && (line[0] == '+' || line[0] == '-')
}

func blank(line []byte) bool {
	for _, c := range line {
		if c != ' ' {
			return false
		}
	}
	return true
}

// frame decodes one whole frame and passes on what it says.
func (r *Reader) frame(line []byte, terminated bool) {
	rd, err := r.decoder.Decode(line)
	switch err {
	case nil:
	case frame.ErrBattery:
		r.battery(true, line)
		return
	default:
		r.refuse(line, err.Error())
		return
	}
	if r.drowned() {
		return
	}
	r.Terminated = r.Terminated || terminated
	r.Format = rd.Format
	r.legible()
	r.battery(rd.LowBattery, line)
	if r.settings.Trigger == TriggerSend {
		r.send(line, rd)
	} else {
		r.settle(line, rd)
	}
}

// battery follows the caliper's own word about its battery.
func (r *Reader) battery(low bool, line []byte) {
	switch {
	case low && !r.LowBattery:
		r.emit(Event{Kind: Fault, Cause: Battery, Raw: frame.Raw(line), Reason: "the caliper's battery is low: change it soon; its readings still count"})
	case !low && r.LowBattery:
		r.emit(Event{Kind: Clear, Cause: Battery, Reason: "the caliper's battery is good again"})
	}
	r.LowBattery = low
}

// measured is the event of a reading that counts.
func measured(line []byte, rd frame.Reading) Event {
	return Event{Kind: Reading, Value: rd.Value, Step: rd.Step, Unit: rd.Unit, Raw: frame.Raw(line), Format: rd.Format}
}
