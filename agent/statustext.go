package main

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// write tells the status so that it can be read out over the telephone.
func (st status) write(w io.Writer) (err error) {
	line := func(name, format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, "%-11s %s\n", name, fmt.Sprintf(format, args...))
		}
	}
	if st.Running {
		line("press", "%s, the agent runs for %s, version %s", st.Press, lasting(seconds(st.Up)), st.Version)
	} else {
		line("press", "%s, no agent runs; this is how the store stands", st.Press)
	}
	if st.Hangs != "" {
		line("agent", "FAULT: a part of it hangs: %s; stop it and start it again", st.Hangs)
	}
	st.writeWork(line)
	for _, last := range []struct {
		name string
		at   *time.Time
	}{{"stroke", st.Stroke}, {"reading", st.Reading}, {"verdict", st.Verdict}} {
		if last.at != nil {
			line(last.name, "%s", ago(*last.at, st.At))
		}
	}
	if st.Last.Outcome != "" {
		line("last", "piece %s: %s (%s)", st.Last.Piece, st.Last.Outcome, st.Last.Reason)
	}
	st.writeRecords(line)
	for _, l := range st.Links {
		switch {
		case l.OK:
			line(l.Name, "ok: %s", l.Text)
		case l.Since != nil:
			line(l.Name, "FAULT for %s: %s", lasting(max(0, st.At.Sub(*l.Since))), l.Text)
		default:
			line(l.Name, "FAULT: %s", l.Text)
		}
	}
	if !st.Running {
		for _, f := range st.Faults {
			line(string(f.Source), "had a fault when the agent ended, begun %s: %s", ago(f.Since, st.At), f.Reason)
		}
		if !st.Clock {
			line("clock", "nothing keeps this computer's clock right")
		}
	}
	if text := st.Machine.text(); text != "" {
		line("computer", "%s", text)
	}
	return err
}

func (st status) writeWork(line func(name, format string, args ...any)) {
	switch {
	case st.Work.Order == "":
		line("order", "none in work")
	case st.Work.Missing > 0:
		line("order", "%s with %s, piece %s, %s to go", st.Work.Order, st.Work.Spec, st.Work.Piece, plural(st.Work.Missing, "reading"))
	default:
		line("order", "%s with %s, %d of %d pieces crimped", st.Work.Order, st.Work.Spec, st.Work.Pieces, st.Work.Quantity)
	}
	line("setting", "%s", dial(st.Work.Setting))
	if st.Cage.Cage == "" {
		line("cage", "none loaded")
		return
	}
	due := ""
	if st.Cage.LubricateDue {
		due += "; lubrication is DUE"
	}
	if st.Cage.TeardownDue {
		due += "; tear-down is DUE"
	}
	line("cage", "%s, %d of %d strokes since lubrication, %d of %d since tear-down%s", st.Cage.Cage,
		st.Cage.Lubricate, st.Cage.LubricateLimit, st.Cage.Teardown, st.Cage.TeardownLimit, due)
}

func (st status) writeRecords(line func(name, format string, args ...any)) {
	text := fmt.Sprintf("%d kept, %d not yet sent", st.Seq, st.Queue)
	if st.Oldest != nil {
		text += ", the oldest of them for " + lasting(max(0, st.At.Sub(*st.Oldest)))
	}
	if st.Record != nil {
		text += "; the latest came " + ago(*st.Record, st.At)
	}
	line("records", "%s", text)
	if st.LastAck != nil {
		line("sent", "up to record %d; the broker took the latest %s", st.Sent, ago(*st.LastAck, st.At))
	}
	room := "it is not known how much room there is"
	if st.Room != nil {
		room = bytesText(*st.Room) + " free beside it"
	}
	line("file", "%s, %s, %s", st.Store, bytesText(st.Bytes), room)
	for _, r := range st.Rescues {
		line("rescued", "on %s, %s", r.At.Format(time.DateTime), r.Sentence())
	}
}

func seconds(n float64) time.Duration { return time.Duration(n * float64(time.Second)) }

// text tells of the computer what matters to who asks why a press is odd.
func (m machineState) text() string {
	var parts []string
	if m.Model != "" {
		parts = append(parts, m.Model)
	}
	if m.Up != nil {
		parts = append(parts, "runs for "+lasting(seconds(*m.Up)))
	}
	if m.Temperature != nil {
		parts = append(parts, fmt.Sprintf("%.0f °C", *m.Temperature))
	}
	yes := func(b *bool) bool { return b != nil && *b }
	switch {
	case yes(m.LowVoltage):
		parts = append(parts, "its supply is TOO LOW: use the supply made for the board, and a short cable")
	case yes(m.WasLow):
		parts = append(parts, "its supply was too low since it was started: use the supply made for the board, and a short cable")
	}
	if yes(m.Throttled) {
		parts = append(parts, "it SLOWS ITSELF DOWN for heat or voltage")
	}
	return strings.Join(parts, ", ")
}
