package station

import "benchtally/agent/crimp"

// Mark is how one thing of an assembly stands, an end or a point that is checked.
type Mark byte

// The marks of ends and of points.
const (
	MarkOpen    Mark = '.' // not crimped, not checked
	MarkCrimped Mark = 'c' // crimped and not judged
	MarkWithin  Mark = 'w'
	MarkLarge   Mark = 'r' // waits for its next crimp
	MarkDoubted Mark = 'u' // unsure, or left unmeasured
	MarkLost    Mark = 's' // scrap
	MarkChecked Mark = 'o' // looked at or measured, and as it should be
	MarkAmiss   Mark = 'x' // looked at or measured, and not as it should be
)

// Marks are how the assemblies of an order stand: by the end or the point, one
// mark for each assembly, the first one first. What is beyond the end is MarkOpen.
type Marks map[string]string

// At is the mark of an assembly, counted from 1.
func (m Marks) At(what string, assembly int) Mark { return at(m[what], assembly) }

func at(row string, assembly int) Mark {
	if assembly < 1 || assembly > len(row) {
		return MarkOpen
	}
	return Mark(row[assembly-1])
}

// put sets a mark.
func (m Marks) put(what string, assembly int, mark Mark) {
	if assembly < 1 {
		return
	}
	row := []byte(m[what])
	for len(row) < assembly {
		row = append(row, byte(MarkOpen))
	}
	row[assembly-1] = byte(mark)
	for len(row) > 0 && row[len(row)-1] == byte(MarkOpen) {
		row = row[:len(row)-1]
	}
	if m[what] = string(row); len(row) == 0 {
		delete(m, what)
	}
}

// Len is how many assemblies were begun.
func (m Marks) Len() int {
	n := 0
	for _, row := range m {
		n = max(n, len(row))
	}
	return n
}

// markOf is the mark of an end whose latest crimp came out so.
func markOf(outcome crimp.Outcome) Mark {
	switch outcome {
	case crimp.Pass:
		return MarkWithin
	case crimp.Recrimp:
		return MarkLarge
	case crimp.Scrap:
		return MarkLost
	case crimp.Unsure:
		return MarkDoubted
	}
	return MarkCrimped
}

// wholeAssembly is the row of assemblies that were given up as a whole.
const wholeAssembly = "assembly"

// endPoint is the row of a point that is looked at on an end.
func endPoint(e crimp.EndName, point string) string { return string(e) + ":" + point }

// AssemblyState is what an assembly still wants.
type AssemblyState string

// The states of an assembly.
const (
	ToCrimp  AssemblyState = "to-crimp" // an end is not crimped, or is to be crimped again
	ToJudge  AssemblyState = "to-judge" // an end is crimped and not judged
	ToCheck  AssemblyState = "to-check" // a point is not checked, or not as it should be
	Complete AssemblyState = "complete" // all ends within limits, all points as they should be
	GivenUp  AssemblyState = "scrap"    // given up as a whole, or one of its ends is scrap
)

// Points are what the shop looks at on one order, beside the diameter.
type Points struct {
	End      []string // of each end
	Assembly []string // of each assembly
}

// The points that a job card asks for by itself, and the one of the first piece.
const (
	PointLength = "length"      // overall length, where the card gives one
	PointAngle  = "angle"       // between the elbows, where the card gives one
	PointProof  = "proof"       // proof test, where the card gives a working pressure
	PointFirst  = "first-piece" // signed off by name, where the shop wants it
)

// lost says whether an assembly was given up, or has an end that is scrap.
func (m Marks) lost(assembly int) bool {
	return m.At(wholeAssembly, assembly) == MarkLost ||
		m.At(string(crimp.EndA), assembly) == MarkLost || m.At(string(crimp.EndB), assembly) == MarkLost
}

// State is what an assembly of an order still wants.
func (m Marks) State(assembly int, ends []crimp.EndName, points Points) AssemblyState {
	return m.rows(ends, points).state(assembly)
}

// rows are the marks of an order, looked up once for all assemblies.
type rows struct {
	marks Marks
	ends  []string
	looks []string // of all points, on ends and on assemblies
}

func (m Marks) rows(ends []crimp.EndName, points Points) rows {
	r := rows{marks: m}
	for _, e := range ends {
		r.ends = append(r.ends, m[string(e)])
		for _, p := range points.End {
			r.looks = append(r.looks, m[endPoint(e, p)])
		}
	}
	for _, p := range points.Assembly {
		r.looks = append(r.looks, m[p])
	}
	return r
}

func (r rows) state(assembly int) AssemblyState {
	if r.marks.lost(assembly) {
		return GivenUp
	}
	state := Complete
	for _, row := range r.ends {
		switch at(row, assembly) {
		case MarkOpen, MarkLarge:
			return ToCrimp
		case MarkCrimped, MarkDoubted:
			state = ToJudge
		case MarkWithin, MarkLost, MarkChecked, MarkAmiss:
		}
	}
	if state != Complete {
		return state
	}
	for _, row := range r.looks {
		if at(row, assembly) != MarkChecked {
			return ToCheck
		}
	}
	return Complete
}
