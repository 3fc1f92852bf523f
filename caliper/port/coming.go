package port

import "time"

// often is how many losses are told one by one; when there are more within ten times
// Calm, the port is back only once it has stayed for Calm, so that a loose plug makes
// one fault and not thousands (own choice, no source).
const often = 5

// coming follows how a port comes and goes.
type coming struct {
	away    bool
	told    string           // why, as it was told
	gone    bool             // and that was that it is not there
	other   string           // why it was away at the latest attempt, if that was something else
	losses  [often]time.Time // when it was lost, the oldest at next
	next    int
	settled time.Time // when a port that came back counts as back
}

// goes takes in that the port is away; lost: it was open until now.
func (c *coming) goes(at time.Time, lost bool) {
	if lost || !c.away {
		c.losses[c.next], c.next = at, (c.next+1)%often
	}
	if !c.away {
		c.away, c.told, c.other = true, "", ""
	}
}

// news says whether a reason why the port is away is to be told. One that takes the
// place of another must be met at two attempts in a row, so that reasons that take
// turns are not told without end. Gone: it is, or has just gone.
func (c *coming) news(why string, gone bool, at time.Time, calm time.Duration) bool {
	switch {
	case c.told == "":
	case why == c.told, gone && c.gone:
		c.other = ""
		return false
	case why != c.other:
		c.other = why
		return false
	case c.restless(at, calm):
		return false
	}
	c.told, c.gone, c.other = why, gone, ""
	return true
}

// comes takes in that the port was opened.
func (c *coming) comes(at time.Time, calm time.Duration) {
	if c.settled = at; c.restless(at, calm) {
		c.settled = at.Add(calm)
	}
}

// restless tells a port that was lost too often of late.
func (c *coming) restless(at time.Time, calm time.Duration) bool {
	first := c.losses[c.next]
	since := at.Sub(first)
	return !first.IsZero() && since >= 0 && since < 10*calm
}

// due is how long it still has to stay; 0 or less: it is back, or was not away.
func (c *coming) due(at time.Time) time.Duration {
	if !c.away {
		return 0
	}
	return c.settled.Sub(at)
}
