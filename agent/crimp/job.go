package crimp

import (
	"errors"
	"fmt"
	"strings"
)

// Job is the job card of an order: hose assemblies, all alike, each of one hose
// with a fitting at one end or at both.
type Job struct {
	Order     string
	Reference string // the customer's or the plant's own name for it; may be empty
	Quantity  int    // assemblies
	Hose      Part
	Ends      [2]End // A and B; only A is crimped here where B has no specification

	Length      Length // overall, as the drawing measures it; 0 not given
	Plus, Minus Length // tolerance of the length, both positive; both 0: by the shop's standard
	Angle       *int   // between the elbows of the two ends, 0 to 359 degrees; nil: there is none to mind
	Working     Pressure
	Note        string
}

// End is one end of an assembly.
type End struct {
	Spec    string // crimp specification by its id; "": not crimped here
	Fitting Part
	CutOff  Length // what the fitting adds to the hose's length when it is on (C dimension); 0 not given
}

// Part is a hose or a fitting as it came into the shop. All may be empty.
type Part struct {
	Name  string // as the sheet or the catalogue calls it
	Maker string
	Lot   string
}

// EndName names an end of an assembly.
type EndName string

// The ends of an assembly; an order that is counted in single ends has none.
const (
	EndA  EndName = "A"
	EndB  EndName = "B"
	NoEnd EndName = ""
)

// Index is the place of an end in a job, 0 or 1.
func (e EndName) Index() int {
	if e == EndB {
		return 1
	}
	return 0
}

// Other is the end across the hose.
func (e EndName) Other() EndName {
	if e == EndA {
		return EndB
	}
	return EndA
}

// EndNames are the ends that are crimped here, A first.
func (j *Job) EndNames() []EndName {
	if j.Ends[1].Spec == "" {
		return []EndName{EndA}
	}
	return []EndName{EndA, EndB}
}

// End is an end by its name.
func (j *Job) End(e EndName) End { return j.Ends[e.Index()] }

// Cut is the length to which the hose is cut: the overall length less what the
// fittings add (common practice, no source; what an overall length runs to is the
// drawing's to say). An error says what is not given, or does not go together.
func (j *Job) Cut() (Length, error) {
	if j.Length == 0 {
		return 0, errors.New("no overall length is given")
	}
	cut := j.Length
	if j.Length < 0 {
		return 0, fmt.Errorf("an overall length of %s: want more than nothing", j.Length)
	}
	for i, name := range []EndName{EndA, EndB} {
		if j.Ends[i].Spec == "" && j.Ends[i].Fitting.Name == "" {
			continue // no fitting there
		}
		if j.Ends[i].CutOff == 0 {
			return 0, fmt.Errorf("the cut-off allowance of end %s is not given", name)
		}
		if j.Ends[i].CutOff < 0 {
			return 0, fmt.Errorf("a cut-off allowance of %s at end %s: want more than nothing", j.Ends[i].CutOff, name)
		}
		cut -= j.Ends[i].CutOff
	}
	if cut <= 0 {
		return 0, fmt.Errorf("the fittings alone take %s of %s overall: nothing is left for the hose", j.Length-cut, j.Length)
	}
	return cut, nil
}

// Tolerance is how much longer and shorter than its overall length an assembly
// may be, both positive: as the card says, else by the scheme.
func (j *Job) Tolerance(scheme Scheme) (plus, minus Length, err error) {
	if j.Plus != 0 || j.Minus != 0 {
		return j.Plus, j.Minus, nil
	}
	return LengthTolerance(scheme, j.Length)
}

// Mixed are the ends whose hose and fitting are of different makers, as far as
// both are told; how a maker's name is written, in capitals or not, does not
// matter. Mixing makers wants the written word of both (common practice
// of the trade; SAE J517 and J1273 speak of it, second-hand).
func (j *Job) Mixed() []EndName {
	var mixed []EndName
	for _, e := range j.EndNames() {
		if maker := j.End(e).Fitting.Maker; maker != "" && j.Hose.Maker != "" && !strings.EqualFold(maker, j.Hose.Maker) {
			mixed = append(mixed, e)
		}
	}
	return mixed
}

// Caution says at which ends makers are mixed, and whose; "": at none. Each end is
// one sentence, and the last one says what is wanted.
func (j *Job) Caution() string {
	mixed := j.Mixed()
	if len(mixed) == 0 {
		return ""
	}
	var said strings.Builder
	for _, e := range mixed {
		fmt.Fprintf(&said, "End %s: hose of maker %s, fitting of maker %s. ", e, j.Hose.Maker, j.End(e).Fitting.Maker)
	}
	said.WriteString("Mixing makers wants the written word of both.")
	return said.String()
}
