package crimp

import (
	"fmt"
	"strings"
)

// How long the pressure of a proof test is held, and how many times the maximum
// working pressure it is (ISO 6605:2017, 5.2.1, seen second-hand; it says "unless
// otherwise specified", so that a product's own standard goes first).
const (
	shortestHold = 30 // seconds
	longestHold  = 60 // seconds
	proofFactor  = 2
)

// much is above how many tenths of the working pressure a test is remarked: our own
// bound, no source. Hoses may burst at 40 (SAE J517, 100R1, seen second-hand).
const much = 22

// proofSlack is what rounding to whole pascals can take off: half a pascal of the
// working pressure, twice, and half a pascal of the test's make 1.5 Pa, and whole
// pascals differ by 1 Pa then.
const proofSlack Pressure = 1

// Proof is a proof test of an assembly as those who made it tell it: whether it
// leaked is theirs to say, here is only the arithmetic. Both pressures are at most
// MostPressure.
type Proof struct {
	Working  Pressure // maximum working pressure of the assembly
	Pressure Pressure // of the test
	Hold     int      // seconds
}

// Faults say why the test was none, in sentences for people: the pressure was too
// low, or it was not held long enough. None: nil.
func (p Proof) Faults() []string {
	var faults []string
	switch want := proofFactor * p.Working; {
	case p.Working <= 0:
		faults = append(faults, "no working pressure is given")
	case p.Pressure < want-proofSlack:
		test, least := apart(p.Pressure, want, p.Working.Unit())
		faults = append(faults, fmt.Sprintf("%s is less than twice the working pressure of %s (%s)", test, p.working(), least))
	}
	if p.Hold < shortestHold {
		faults = append(faults, p.held())
	}
	return faults
}

// Remarks are what does not undo the test, but should be known: it was held for
// longer, or at a much higher pressure, than is asked of it. Either wears the hose.
func (p Proof) Remarks() []string {
	var remarks []string
	if p.Working > 0 && 10*p.Pressure > much*p.Working {
		test, most := apart(p.Pressure, much*p.Working/10, p.Working.Unit())
		remarks = append(remarks, fmt.Sprintf("%s is more than %g times the working pressure of %s (%s)", test, much/10.0, p.working(), most))
	}
	if p.Hold > longestHold {
		remarks = append(remarks, p.held())
	}
	return remarks
}

// Check says whether the test was one, and all that is to be said of it, faults
// first. A test with remarks is one.
func (p Proof) Check() (ok bool, reason string) {
	faults := p.Faults()
	return len(faults) == 0, strings.Join(append(faults, p.Remarks()...), "; ")
}

func (p Proof) working() string { return p.Working.Text(p.Working.Unit()) }

func (p Proof) held() string {
	return fmt.Sprintf("held %d s: want %d s to %d s", p.Hold, shortestHold, longestHold)
}
