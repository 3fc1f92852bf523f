package rehearsal

import "io"

// jobs are the invented shop's job cards. Makers and lots are invented too.
const jobs = `order,quantity,a_spec,b_spec,reference,hose,hose_maker,hose_lot,a_fitting,a_maker,a_lot,a_cutoff,b_fitting,b_maker,b_lot,b_cutoff,length,length_plus,length_minus,angle,working,note
A-2001,3,hs-08,hs-08,loader 4,two-wire 8,M1,H-76,swivel 8,M1,F-11,1.25in,elbow 8,M1,F-12,1.95in,48in,,,,4000psi,
A-2002,2,hs-08,hs-12,lift table,two-wire 8,M1,H-76,swivel 8,M1,F-11,1.25in,flange 12,F2,F-31,2.40in,900mm,10mm,4mm,90,275bar,cap both ends
A-2003,4,hs-04,,spare,two-wire 4,M1,H-80,swivel 4,M1,F-07,0.95in,,,,,600mm,,,,,
`

// WriteJobs writes the shop's job cards as a file of them.
func WriteJobs(w io.Writer) error {
	_, err := io.WriteString(w, jobs)
	return err
}

// The gauge ring of the shop.
const (
	Ring      = "ring-25"  // its name
	RingValue = "25.000mm" // its diameter, a length with unit
)
