package study

import (
	"slices"

	"benchtally/agent/crimp"
)

// policy chooses the settings of one shop, set-up after set-up.
type policy interface {
	// begin begins a set-up and gives the setting of its first piece.
	begin() int
	// next takes the first crimp of a piece, its setting, its measured deviation
	// from the target and the cage's count of strokes, and gives the setting of
	// the next piece.
	next(setting int, deviation crimp.Length, stroke int) int
	// again gives the setting of the second stroke on the same, oversize piece.
	again(setting int, deviation crimp.Length) int
}

// rule is a policy that a person can follow without notes: it knows the number
// of the piece, its setting and its deviation. Each set-up begins at the
// sheet's setting.
type rule struct {
	scale crimp.Scale
	n     int
	move  func(s crimp.Scale, n, setting int, deviation crimp.Length) int
}

func (r *rule) begin() int {
	r.n = 0
	return target
}

func (r *rule) next(setting int, deviation crimp.Length, _ int) int {
	r.n++
	return r.move(r.scale, r.n, setting, deviation)
}

func (r *rule) again(setting int, deviation crimp.Length) int { return again(setting, deviation) }

// again is the product's advice for a second stroke.
func again(setting int, deviation crimp.Length) int {
	return scale.Again(deviation, setting, setting).Setting
}

// alone leaves the setting as the sheet has it: rule 1 of the funnel (Deming
// 1986).
func alone(crimp.Scale, int, int, crimp.Length) int { return target }

// whole moves by the whole error, from where the setting is: rule 2.
func whole(s crimp.Scale, _, setting int, deviation crimp.Length) int {
	return setting + s.Counts(-float64(deviation))
}

// harmonic moves by the n-th part of the error after the n-th piece, in whole
// counts, as it is done by hand (Grubbs 1954, reprinted in Journal of Quality
// Technology 15, 1983; not seen).
func harmonic(s crimp.Scale, n, setting int, deviation crimp.Length) int {
	return setting + s.Counts(-float64(deviation)/float64(n))
}

// ours is what the agent advises.
type ours struct {
	scale   crimp.Scale
	model   crimp.Model  // as configured
	costs   crimp.Costs  // none: the aim is the target
	hold    crimp.Length // dead band
	learn   bool         // from the set-ups before
	halfway bool         // not the product: a second stroke believes the piece and the set-up half each

	now      crimp.Model // of this set-up
	estimate crimp.Estimate
	lesson   crimp.Lesson
	lessons  []crimp.Lesson
}

func (o *ours) begin() int {
	o.now, o.estimate = o.model, crimp.Estimate{}
	if o.learn {
		if len(o.lessons) == crimp.LessonsKept {
			o.lessons = slices.Delete(o.lessons, 0, 1)
		}
		if o.lesson.N > 0 {
			o.lessons = append(o.lessons, o.lesson)
		}
		line := o.scale.Line(spec)
		o.lesson = crimp.Lesson{Line: line}
		o.now = o.model.With(crimp.Learn(o.lessons, line))
	}
	before, known := o.now.Before()
	if !known {
		return target
	}
	return o.advise(before, target)
}

func (o *ours) next(setting int, deviation crimp.Length, stroke int) int {
	offset := float64(deviation - o.scale.Change(setting-target))
	o.estimate = o.now.Update(o.estimate, offset, stroke)
	if o.learn {
		o.lesson.Add(offset, stroke)
	}
	return o.advise(o.estimate, setting)
}

func (o *ours) advise(e crimp.Estimate, dialled int) int {
	aim := o.costs.Aim(spec, o.now.Predict(e), 0)
	return o.scale.Next(e, aim, target, dialled, o.hold).Setting
}

func (o *ours) again(setting int, deviation crimp.Length) int {
	if o.halfway {
		expected := o.estimate.Offset + float64(o.scale.Change(setting-target))
		deviation = crimp.Length((float64(deviation) + expected) / 2)
	}
	return again(setting, deviation)
}
