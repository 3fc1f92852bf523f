package crimp

// Spec is what one end must become: a line of the hose-and-fitting maker's
// current crimp specification, as the shop copied it into its specs file.
type Spec struct {
	ID       string
	Cage     string // die cage that the maker's sheet names
	Diameter Length // target of the crimp diameter
	Plus     Length // allowed above the target, not negative
	Minus    Length // allowed below the target, not negative
	Setting  int    // counts that should give the target, 0 to 999
	Unit     Unit   // in which the sheet is written and people are answered; "" is mm
	Recrimps int    // how often an end may be crimped again; 0 never

	Hose, Fitting, Size string // as the sheet calls them; may be empty
	Skive, Insertion    Length // 0: not given
	Places              int    // readings that make a verdict; 0: the shop's setting
	Dies                int    // marks that the cage's dies leave around the ferrule; 0: the shop's setting
	Revision, Note      string
}

// Upper is the largest diameter within the limits; the limit itself is within.
func (s Spec) Upper() Length { return s.Diameter + s.Plus }

// Lower is the smallest diameter within the limits; the limit itself is within.
func (s Spec) Lower() Length { return s.Diameter - s.Minus }

// Gap writes a difference that is more than nothing, also where Text would round
// it away.
func (s Spec) Gap(l Length) string {
	if s.Text(l) != s.Text(0) {
		return s.Text(l)
	}
	if s.Unit == Inches {
		return "less than 0.0001 in"
	}
	return "less than 0.001 mm"
}

// Text writes a length for people in the unit of the sheet: inches to a tenth
// of a thousandth, millimetres to a thousandth.
func (s Spec) Text(l Length) string {
	if s.Unit == Inches {
		return l.Text(Inches, 4)
	}
	return l.Text(Millimetres, 3)
}
