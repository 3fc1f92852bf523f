package crimp

// Standard is a gauge block or ring that the shop checks its calipers against, a
// measurement standard (JCGM 200, VIM, 5.1).
type Standard struct {
	Name    string
	Value   Length // as its own certificate has it
	Allowed Length // by which a caliper may be off, positive
}
