package sparkplug

import "time"

// past is what a primary host may have missed: records kept while it was away,
// and those told shortly before a connection was lost, since data at QoS 0 may be
// lost with it. They are told again as historical. Without a primary host there
// is no past: hosts see what is now, and the JSON events carry the record.
type past struct {
	kept   bool          // for a primary host
	doubt  time.Duration // so long what was told may be lost yet
	done   uint64        // the host has all up to here, as far as can be known
	next   uint64        // told up to here in this connection
	end    uint64        // up to here in this connection; what came later is told as it happens
	ready  time.Time     // when the next part may be told
	recent []passage     // of what was told, oldest first
	marked uint64        // done as it was set last

	markedAt time.Time
}

// passage says that all records up to seq were told at a time.
type passage struct {
	seq uint64
	at  time.Time
}

// load takes up the mark. A node that has none for this host, or one that is not
// of this store as it is now, begins with what is now.
func (p *past) load(n *Node) {
	if p.kept = n.s.Host != ""; !p.kept {
		return
	}
	p.doubt = max(doubtful, 2*n.s.Keepalive+30*time.Second) // one and a half without a word, an unanswered ping, and some
	seq, host, err := n.log.Mark(markPast)
	if err != nil {
		n.slog.Warn("how far the primary host had come is lost; it is told nothing of the past", "err", err)
	}
	if err != nil || string(host) != n.s.Host || seq > n.image.seq {
		seq = n.image.seq
		p.mark(n, seq)
	}
	p.done, p.marked = seq, seq
}

// begin says that a birth has told what is now, the record seq last.
func (p *past) begin(seq uint64) {
	p.next, p.end, p.ready, p.recent = p.done, seq, time.Time{}, nil
}

// missed says that nobody was told the records after one up to another as they
// happened: the press could not be seen.
func (p *past) missed(after, to uint64) {
	if p.next >= p.end {
		p.next = after
	}
	p.end = to
}

// told takes note of a record that was told as it happened.
func (p *past) told(seq uint64, now time.Time) {
	if p.kept && p.next >= p.end {
		p.pass(seq, now)
	}
}

// pass notes that all records up to seq are told; one passage a second is enough.
func (p *past) pass(seq uint64, now time.Time) {
	if k := len(p.recent) - 1; k >= 0 && now.Sub(p.recent[k].at) < time.Second {
		p.recent[k].seq = seq
		return
	}
	p.recent = append(p.recent, passage{seq, now})
}

// note moves the mark to what was told long enough ago.
func (p *past) note(n *Node, now time.Time) {
	for len(p.recent) > 0 && now.Sub(p.recent[0].at) >= p.doubt {
		p.done = p.recent[0].seq
		p.recent = p.recent[1:]
	}
	if p.done != p.marked && now.Sub(p.markedAt) >= markEvery {
		p.keep(n, now)
	}
}

// keep marks how far the host has come.
func (p *past) keep(n *Node, now time.Time) {
	p.mark(n, p.done)
	p.marked, p.markedAt = p.done, now
}

// mark keeps how far the host has come, and which host that is.
func (p *past) mark(n *Node, seq uint64) {
	if err := n.log.SetMark(markPast, seq, []byte(n.s.Host)); err != nil {
		n.slog.Debug("how far the primary host has come is not kept", "err", err)
	}
}

// tell publishes the next records of the past. It returns after what time there
// may be more.
func (p *past) tell(l *link, now time.Time) (more time.Duration, err error) {
	if !p.kept || p.next >= p.end || !l.shown {
		return lookEvery, nil
	}
	if wait := p.ready.Sub(now); wait > 0 {
		return wait, nil
	}
	told := 0
	for r, err := range l.n.log.Records(p.next) {
		if err != nil && r.Seq == 0 {
			return lookEvery, nil // it is tried again then
		}
		if r.Seq > p.end {
			break
		}
		p.next = r.Seq
		if err == nil {
			if err := l.tellMetrics(DDATA, historical(&r)); err != nil {
				return 0, err
			}
		}
		if told++; told == chunk || l.interrupted() {
			p.pass(p.next, now)
			p.ready = now.Add(pastEvery)
			return pastEvery, nil
		}
	}
	p.next = p.end
	p.pass(l.n.image.seq, now)
	return lookEvery, nil
}
