package rehearsal

import (
	"time"

	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/sensors"
)

// counter is the plainest way to count strokes: levels that hold for 20 ms,
// closures of 150 ms at least, a second apart; two minutes are too long.
type counter struct {
	began   bool
	up      bool      // as it was last read
	since   time.Time // when it was first read so
	settled bool
	edge    time.Time // when settled began
	told    bool      // the closure was counted
	last    time.Time // start of the last stroke
	stuck   bool
	retract bool
}

// step takes in the contacts at a time and returns what the station is to hear.
func (c *counter) step(l sensors.Levels, at time.Time) (out []station.Input) {
	if !c.began {
		c.began, c.since, c.edge = true, at, at
	}
	if c.up != c.settled && at.Sub(c.since) >= 20*time.Millisecond {
		if c.up {
			c.told = false
		} else {
			if held := c.since.Sub(c.edge); held >= 150*time.Millisecond && !c.told {
				out = c.count(out, held)
			}
			if c.stuck {
				c.stuck = false
				out = append(out, station.Fault{At: at, Source: record.Switch, Reason: "released"})
			}
		}
		c.settled, c.edge = c.up, c.since
	}
	if c.settled && c.up {
		if at.Sub(c.edge) >= 10*time.Second && !c.told {
			out = c.count(out, 0)
		}
		if at.Sub(c.edge) >= 2*time.Minute && !c.stuck {
			c.stuck = true
			out = append(out, station.Fault{At: at, Source: record.Switch, On: true, Reason: "made for two minutes"})
		}
	}
	if l.Up != c.up {
		c.up, c.since = l.Up, at
	}
	if l.Retracted && !c.retract {
		out = append(out, station.Retract{At: at})
	}
	c.retract = l.Retracted
	return out
}

func (c *counter) count(out []station.Input, held time.Duration) []station.Input {
	c.told = true
	if !c.last.IsZero() && c.edge.Sub(c.last) < time.Second {
		return out
	}
	c.last = c.edge
	return append(out, station.Stroke{At: c.edge, Held: held})
}

// wait is how long the counter may be left alone.
func (c *counter) wait() time.Duration {
	if c.up != c.settled {
		return 20 * time.Millisecond
	}
	return 250 * time.Millisecond
}

// counted is what the counter makes of a whole course, read every 0.1 ms.
func counted(c *course, from time.Time) (strokes []station.Stroke, faults []station.Fault, retracts int) {
	var n counter
	for at := from; at.Before(c.end().Add(time.Second)); at = at.Add(100 * time.Microsecond) {
		for _, in := range n.step(c.at(at), at) {
			switch in := in.(type) {
			case station.Stroke:
				strokes = append(strokes, in)
			case station.Fault:
				faults = append(faults, in)
			case station.Retract:
				retracts++
			}
		}
	}
	return strokes, faults, retracts
}
