package caliper

import (
	"context"
	"errors"
	"strings"
	"time"

	"benchtally/caliper/port"
)

// usual are the line settings that are tried when none are named, most frequent
// first (common practice, no source).
var usual = []port.Port{
	{Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"},
	{Baud: 4800, DataBits: 7, Parity: "even", StopBits: "2"},
	{Baud: 2400, DataBits: 8, Parity: "none", StopBits: "1"},
	{Baud: 9600, DataBits: 7, Parity: "even", StopBits: "1"},
	{Baud: 19200, DataBits: 8, Parity: "none", StopBits: "1"},
	{Baud: 38400, DataBits: 8, Parity: "none", StopBits: "1"},
	{Baud: 115200, DataBits: 8, Parity: "none", StopBits: "1"},
	{Baud: 4800, DataBits: 8, Parity: "none", StopBits: "1"},
	{Baud: 1200, DataBits: 8, Parity: "none", StopBits: "1"},
}

// tail is how long after an opening bytes may still belong to what was sent
// before it.
const tail = 500 * time.Millisecond

var errNext = errors.New("try the next line settings")

// Listen shows what a caliper sends, until ctx is done; it then returns nil. The
// Format of a Reading is the name to configure, and a Fault of the cause
// Streaming means the trigger "stream".
//
// When p names no line settings at all, the usual ones are tried in turn: each
// time that bytes arrive that no caliper sends, the next. The Port given to show
// has the settings in force. After the first reading they stay.
func Listen(ctx context.Context, p Port, s Settings, now func() time.Time, show func(Port, Event)) error {
	search := p.Baud == 0 && p.DataBits == 0 && p.Parity == "" && p.StopBits == ""
	for i := 0; ; i++ {
		if search {
			u := usual[i%len(usual)]
			p.Baud, p.DataBits, p.Parity, p.StopBits = u.Baud, u.DataBits, u.Parity, u.StopBits
		}
		checked, err := p.checked()
		if err != nil {
			return err
		}
		s.SevenBits = checked.DataBits == 7
		r, err := NewReader(s)
		if err != nil {
			return err
		}
		opened := now()
		l := newLink(checked, r, now, func(e Event) error {
			show(checked, e)
			search = search && e.Kind != Reading
			if search && noise(e) && e.At.Sub(opened) > tail {
				return errNext
			}
			return nil
		})
		if err := l.Run(ctx); !errors.Is(err, errNext) {
			return err
		}
	}
}

// noise tells frames with bytes that no caliper sends, the mark of wrong line
// settings.
func noise(e Event) bool {
	return e.Kind == Refused && (e.Raw == "" || strings.Contains(e.Raw, `\x`))
}
