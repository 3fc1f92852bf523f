package config

import (
	"fmt"

	"benchtally/agent/crimp"
)

// parseSpecs reads a whole specs file. Settings must lie within the scale; an
// id that seen has already is a fault. All faults are found in one run, and
// when there are any the specs are of no use.
func parseSpecs(file string, data []byte, scale crimp.Scale, seen map[string]string) ([]crimp.Spec, Faults) {
	r := newSheet(file, data, specColumns(scale))
	r.nobody = "no specification below the header: write one a line"
	r.check = func(s *crimp.Spec, bad map[string]bool, line int) {
		checkTolerances(r, *s, bad, line)
		r.once("spec", s.ID, line, seen)
	}
	r.read()
	return r.rows, r.faults
}

// once notes an id that stood before.
func (r *sheet[T]) once(key, id string, line int, seen map[string]string) {
	if id == "" {
		return
	}
	if there, ok := seen[id]; ok {
		r.fault(line, 0, key, id, "this id stands twice, first at "+there+": give one of them another id")
		return
	}
	seen[id] = fmt.Sprintf("%s:%d", r.file, line)
}

// checkTolerances checks the diameter and its limits against each other.
func checkTolerances(r *sheet[crimp.Spec], s crimp.Spec, bad map[string]bool, line int) {
	for _, name := range []string{"diameter", "plus", "minus"} {
		if bad[name] || !r.has(name) {
			return
		}
	}
	switch {
	case s.Plus == 0 && s.Minus == 0:
		r.fault(line, 0, "plus", "", "plus and minus are both nothing, so no crimp could be within the limits: copy the tolerance from the maker's sheet")
	case s.Minus >= s.Diameter:
		r.fault(line, 0, "minus", s.Minus.String(), "must be smaller than the diameter "+s.Diameter.String())
	case s.Plus >= s.Diameter:
		r.fault(line, 0, "plus", s.Plus.String(), "must be smaller than the diameter "+s.Diameter.String())
	}
}
