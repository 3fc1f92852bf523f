package station

import (
	"encoding/json"
	"fmt"

	"benchtally/agent/crimp"
)

// learned is what this set-up tells about the offset of one specification. It
// still knows its latest pieces, so that a reading withdrawn or a stroke moved
// takes its piece out again.
type learned struct {
	Known  crimp.Known    `json:"known,omitzero"`  // from earlier set-ups, as it was when this one began
	Base   crimp.Estimate `json:"base"`            // from the pieces older than Recent
	Lesson crimp.Lesson   `json:"lesson,omitzero"` // from the same pieces
	Recent []observation  `json:"recent,omitempty"`
}

// observation is what one first crimp says of the offset.
type observation struct {
	Piece  string  `json:"piece"`
	Offset float64 `json:"offset_nm"` // measured minus what its setting should give
	Stroke int     `json:"stroke"`    // the cage's count
}

// model is how the offset is thought to behave in this set-up: as configured, or
// as earlier set-ups of the cage taught. It does not change within a set-up.
func (s *Station) model(l *learned) crimp.Model {
	if l == nil || !s.rules.Learn {
		return s.rules.Model
	}
	return s.rules.Model.With(l.Known)
}

// estimate is what is known now; false: nothing.
func (l *learned) estimate(m crimp.Model) (crimp.Estimate, bool) {
	if l == nil {
		return m.Before()
	}
	e := l.Base
	for _, o := range l.Recent {
		e = m.Update(e, o.Offset, o.Stroke)
	}
	if e.N == 0 {
		return m.Before()
	}
	return e, true
}

// add takes in a piece; the oldest recent one becomes final.
func (l *learned) add(m crimp.Model, o observation) {
	if len(l.Recent) >= keptPieces {
		first := l.Recent[0]
		l.Base = m.Update(l.Base, first.Offset, first.Stroke)
		l.Lesson.Add(first.Offset, first.Stroke)
	}
	l.Recent = push(l.Recent, o, keptPieces)
}

// drop takes a piece out again, if it is in.
func (l *learned) drop(piece string) {
	if l == nil {
		return
	}
	for i, o := range l.Recent {
		if o.Piece == piece {
			l.Recent = append(l.Recent[:i], l.Recent[i+1:]...)
			return
		}
	}
}

// lesson is what the set-up taught when it ends now.
func (l *learned) lesson() crimp.Lesson {
	all := l.Lesson
	for _, o := range l.Recent {
		all.Add(o.Offset, o.Stroke)
	}
	return all
}

// learnedOf is what this set-up tells about a specification of the loaded cage, opened
// with what earlier set-ups taught.
func (s *Station) learnedOf(spec string) *learned {
	st := &s.state
	l := st.Learned[spec]
	if l == nil {
		l = s.newLearned(st.Cage, spec)
		st.Learned[spec] = l
	}
	return l
}

// newLearned is what is known of a specification before a set-up of its cage.
func (s *Station) newLearned(cage, spec string) *learned {
	l := &learned{}
	if s.rules.Learn {
		l.Known = crimp.Learn(s.lessons(cage, spec), s.rules.Scale.Step)
	}
	return l
}

// endSetUp ends what the loaded cage tells: it was changed or taken apart. What
// was measured becomes a lesson for the next set-up.
func (s *Station) endSetUp() {
	st := &s.state
	for spec, l := range st.Learned {
		if lesson := l.lesson(); lesson.N > 0 {
			st.Lessons[lessonsID(st.Cage, spec)] = push(s.lessons(st.Cage, spec), lesson, crimp.LessonsKept)
		}
	}
	st.SetUp++
	clear(st.Learned)
	st.outdate()
}

// lessons are what the latest set-ups of a cage taught about a specification.
// Most cages lie on the shelf, so they are kept beside the state, as orders are.
func (s *Station) lessons(cage, spec string) (lessons []crimp.Lesson) {
	id := lessonsID(cage, spec)
	if kept, ok := s.state.Lessons[id]; ok {
		return kept
	}
	kept, err := s.log.Order(id)
	if err == nil && kept != nil {
		err = json.Unmarshal(kept, &lessons)
	}
	if err != nil {
		s.broken = fmt.Errorf("look up what cage %s taught: %w", cage, err)
	}
	return lessons
}

// lessonsID is the id under which lessons are kept beside the orders; no order
// has it, because names hold no control characters.
func lessonsID(cage, spec string) string { return "\x00lessons\x00" + cage + "\x00" + spec }
