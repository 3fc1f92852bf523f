package station

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"

	"benchtally/agent/crimp"
)

// learned is what this set-up tells about the offset of one specification. It
// still knows its latest pieces, so that a reading withdrawn or a stroke moved
// takes its piece out again.
type learned struct {
	Known  crimp.Known    `json:"known,omitzero"` // from earlier set-ups, as it was when this one began
	Base   crimp.Estimate `json:"base"`           // from the pieces older than Recent
	Lesson crimp.Lesson   `json:"lesson"`         // from the same pieces; its line is that of all offsets here
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
	// A piece may be measured late: the offset drifts with the strokes.
	slices.SortStableFunc(l.Recent, func(a, b observation) int { return cmp.Compare(a.Stroke, b.Stroke) })
}

// drop takes a piece out again, if it is among the recent ones.
func (l *learned) drop(piece string) bool {
	if l == nil {
		return false
	}
	i := slices.IndexFunc(l.Recent, func(o observation) bool { return o.Piece == piece })
	if i < 0 {
		return false
	}
	l.Recent = slices.Delete(l.Recent, i, i+1)
	return true
}

// along is the same measured against another line: what a press does does not
// change when its sheet is corrected. Of another step nothing is known; nil.
func (l *learned) along(line crimp.Line) *learned {
	from := l.Lesson.Line
	switch {
	case from == line:
		return l
	case from == crimp.Line{}: // kept before lessons had a line
		moved := *l
		moved.Lesson.Line = line
		return &moved
	case from.Step != line.Step:
		return nil
	}
	by := float64(from.Zero - line.Zero)
	moved := *l
	moved.Lesson.Move(line)
	if moved.Known.SetUps > 0 {
		moved.Known.Offset += by
	}
	if moved.Base.N > 0 {
		moved.Base.Offset += by
	}
	moved.Recent = slices.Clone(l.Recent)
	for i := range moved.Recent {
		moved.Recent[i].Offset += by
	}
	return &moved
}

// lesson is what the set-up taught when it ends now.
func (l *learned) lesson() crimp.Lesson {
	all := l.Lesson
	for _, o := range l.Recent {
		all.Add(o.Offset, o.Stroke)
	}
	return all
}

// learnedOf is what this set-up tells about a specification of the loaded cage,
// opened with what earlier set-ups taught.
func (s *Station) learnedOf(spec crimp.Spec) *learned {
	st := &s.state
	st.Learned[spec.ID] = s.foreknown(st.Cage, spec)
	return st.Learned[spec.ID]
}

// foreknown is what is known of a specification of a cage now: what this set-up
// tells, if the cage is the loaded one, or what earlier ones taught.
func (s *Station) foreknown(cage string, spec crimp.Spec) *learned {
	line := s.rules.Scale.Line(spec)
	if l := s.state.Learned[spec.ID]; l != nil && s.state.Cage == cage {
		if l = l.along(line); l != nil {
			return l
		}
	}
	l := &learned{Lesson: crimp.Lesson{Line: line}}
	if s.rules.Learn {
		l.Known = crimp.Learn(s.lessons(cage, spec.ID), line)
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
