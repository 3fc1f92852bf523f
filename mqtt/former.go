package mqtt

// maxClearing is how many connections may be lost while the topics of a former
// base are cleared before that is given up: a broker may cut whoever writes where
// it must not. Our own figure, no source.
const maxClearing = 3

// former are bases under which the press was known before and whose retained
// topics still stand at the broker, for all we know.
type former struct {
	bases   []string // not yet cleared, or all cleared: none
	losses  int      // connections lost while they were cleared
	flights int      // of the link that stands: not yet acknowledged
	begun   bool     // the link that stands has published them
}

// allRetained are all topics of a press that a broker retains.
func allRetained(base string) []string {
	names := []string{Status.Under(base)}
	for _, t := range retained {
		names = append(names, t.Under(base))
	}
	return names
}

// clearFormer publishes empty payloads on the retained topics of the former
// bases, once a connection, so that nobody takes what they say for news.
func (l *link) clearFormer() {
	f := &l.p.former
	if len(f.bases) == 0 || f.begun {
		return
	}
	f.begun = true
	for _, base := range f.bases {
		for _, topic := range allRetained(base) {
			f.flights++
			l.publish(flight{cargo: clearing, topic: topic}, true, nil)
		}
	}
}

// cleared counts an acknowledgement of such a payload.
func (p *Publisher) cleared() {
	f := &p.former
	if f.flights--; f.flights > 0 {
		return
	}
	p.log.Info("the topics of the press's former place are cleared, as far as the press may write there", "bases", f.bases)
	p.former = former{}
	if p.s.OnCleared != nil {
		p.s.OnCleared()
	}
}

// unclear takes note that a connection has ended.
func (f *former) unclear() (gaveUp bool) {
	lost := f.flights > 0
	f.flights, f.begun = 0, false
	if !lost {
		return false
	}
	if f.losses++; f.losses < maxClearing {
		return false
	}
	f.bases = nil
	return true
}
