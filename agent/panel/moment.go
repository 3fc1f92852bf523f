package panel

import "benchtally/agent/crimp"

// moment is the board: words that are ready to be read, and no rules.
type moment struct {
	frame
	Order, Spec, Tally, Piece string
	Hose                      *hose

	Value   *value   // the newest reading or the mean
	Target  *target  // nil: no order
	Judged  *judged  // nil: the crimp in hand has no verdict
	Reading []string // of the crimp in hand; a place still to be measured is empty
	Note    string
	Setting *setting // nil: none was told
	Care    []care
	Links   []link
	Primary *key   // nil: none
	Trail   *trail // where nothing large is to be touched; nil: too few pieces
}

// newMoment says a snapshot in words.
func newMoment(f frame) moment {
	s, v, o := f.scene, f.View, f.View.Order
	f.Call = nextStep(s)
	f.Path = "/"
	m := moment{frame: f, Setting: s.newSetting(), Care: s.newCare(), Links: s.newLinks(), Primary: s.primary(), Note: s.note()}
	if m.Primary == nil {
		m.Trail = s.newTrail()
	}
	if o == nil {
		return m
	}
	m.Order, m.Spec, m.Piece, m.Tally, m.Hose = o.ID, o.Spec.ID, s.pieceOf(), s.tally(), s.newHose()
	m.Target = s.newTarget(o.Spec, o.Readings, nil)
	for _, r := range o.Readings {
		number, _ := s.split(o.Spec.Unit, r)
		m.Reading = append(m.Reading, number)
	}
	if n := len(o.Readings); n > 0 {
		m.Value = s.newValue(o.Spec, o.Readings[n-1], s.t.Say("place %d", n))
	}
	if o.Missing > 0 {
		m.Reading = append(m.Reading, make([]string, o.Missing)...)
	}
	if r := verdictInHand(v); r != nil {
		m.Judged = s.newJudged(o.Spec, r)
		if r.Mean != nil {
			m.Value = s.newValue(o.Spec, *r.Mean, s.t.Say("mean of %d", r.Readings))
			m.Target = s.newTarget(o.Spec, o.Readings, r.Mean)
		}
	}
	if call := m.Call; call.More != "" && !call.Below() && (m.Note == "" || m.Judged == nil || m.Judged.Shape == "within") {
		m.Note = upper(call.More) // why a crimp is not within limits goes first
	}
	return m
}

// Cage is the loaded cage; "": none was told.
func (m moment) Cage() string { return m.View.Cage }

// spec's dial, to fill in: the advised setting, else the one that was told.
func (s scene) dial() string {
	switch a := s.View.Advice(); {
	case a != nil:
		return crimp.Dial(*a)
	case s.View.Setting != nil:
		return crimp.Dial(*s.View.Setting)
	}
	return ""
}
