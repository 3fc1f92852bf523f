package report

import (
	"slices"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// under sets, below a crimp, when and by whom it was made, and why it is not
// within limits; below the last one what was checked of the end, and why it was
// given up.
func (t *assemblies) under(p station.PieceEntry, k station.CrimpEntry, last bool) {
	all := nonempty(t.o.minute(k.At), k.Operator)
	if p.Cage != "" && p.Cage != p.Spec.Cage {
		all = append(all, t.w.Say("die cage %s", p.Cage))
	}
	if k.Outcome != "" && k.Outcome != crimp.Pass && k.Reason != "" && len(k.Readings) > 0 {
		all = append(all, t.w.Sentence(k.Reason))
	}
	if last {
		for _, c := range p.Checks {
			all = append(all, t.checked(c))
		}
		if p.Scrap != "" {
			all = append(all, t.w.Say("given up: %s", t.w.Sentence(p.Scrap)))
		}
	}
	t.face(smallPt, false, soft)
	t.flow(t.indent(), t.room(), smallLine, strings.Join(all, "  ·  "))
}

// checked says one check.
func (t *assemblies) checked(c station.CheckEntry) string {
	w, u := t.w, lengthUnit(t.d)
	var points []string
	for _, p := range c.Points {
		points = append(points, pointWords(w, p))
	}
	text := strings.Join(points, ", ")
	if c.Value != nil {
		text += " " + w.Length(*c.Value, u, coarse(u))
		if j := t.d.Job; j != nil && j.Length > 0 {
			text += " (" + w.signed(*c.Value-j.Length, u, coarse(u)) + ")"
		}
	}
	if c.Angle != nil {
		text += " " + w.Number(*c.Angle, 0) + "°"
	}
	if c.OK {
		text += ": " + w.Say("good")
	} else {
		text += ": " + w.Say("not good")
	}
	if c.Reason != "" {
		text += ", " + w.Sentence(c.Reason)
	}
	if c.Operator != "" {
		text += " (" + c.Operator + ")"
	}
	return text
}

// pointWords is a point by its name: those that a job card asks for, and the two
// that shops call so everywhere; others as the shop calls them.
func pointWords(w words, point string) string {
	switch point {
	case station.PointLength:
		return w.Say("length")
	case station.PointAngle:
		return w.Say("angle")
	case station.PointProof:
		return w.Say("proof test")
	case station.PointFirst:
		return w.Say("first piece signed off")
	case "flushed":
		return w.Say("flushed")
	case "capped":
		return w.Say("capped")
	}
	return w.Sentence(strings.ReplaceAll(point, "-", " "))
}

// missing are the points that the shop looks at and that are not good, by the latest check of each.
func (t *assemblies) missing(a station.AssemblyEntry, ends []station.PieceEntry) []string {
	var missing []string
	for _, p := range ends {
		for _, point := range t.d.Points.End {
			if !latest(p.Checks, point) {
				missing = append(missing, t.w.Say("end %s", string(p.End))+" "+pointWords(t.w, point))
			}
		}
	}
	for _, point := range t.d.Points.Assembly {
		switch {
		case point == station.PointProof && len(a.Proofs) > 0 && a.Proofs[len(a.Proofs)-1].OK:
		case !latest(a.Checks, point):
			missing = append(missing, pointWords(t.w, point))
		}
	}
	return missing
}

// latest says whether a point was good when it was checked last.
func latest(checks []station.CheckEntry, point string) bool {
	for i := len(checks) - 1; i >= 0; i-- {
		if slices.Contains(checks[i].Points, point) {
			return checks[i].OK
		}
	}
	return false
}
