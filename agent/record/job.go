package record

import "benchtally/agent/crimp"

// Job is what a record keeps of a job card. Its keys stand in the record itself,
// those of the two ends with a_ and b_ before them.
type Job struct {
	Reference string `json:"reference,omitempty"`
	HosePart  string `json:"hose_part,omitempty"`
	HoseMaker string `json:"hose_maker,omitempty"`
	HoseLot   string `json:"hose_lot,omitempty"`

	ASpec   string        `json:"a_spec,omitempty"`
	APart   string        `json:"a_part,omitempty"`
	AMaker  string        `json:"a_maker,omitempty"`
	ALot    string        `json:"a_lot,omitempty"`
	ACutOff *crimp.Length `json:"a_cutoff_mm,omitempty"`

	BSpec   string        `json:"b_spec,omitempty"`
	BPart   string        `json:"b_part,omitempty"`
	BMaker  string        `json:"b_maker,omitempty"`
	BLot    string        `json:"b_lot,omitempty"`
	BCutOff *crimp.Length `json:"b_cutoff_mm,omitempty"`

	Length      *crimp.Length  `json:"length_mm,omitempty"`      // overall
	LengthPlus  *crimp.Length  `json:"length_plus_mm,omitempty"` // as it is checked: the card's tolerance or the standard's
	LengthMinus *crimp.Length  `json:"length_minus_mm,omitempty"`
	Cut         *crimp.Length  `json:"cut_mm,omitempty"`     // to which the hose is cut
	Elbows      *int           `json:"elbows_deg,omitempty"` // angle between the elbows of the two ends
	Working     crimp.Pressure `json:"working_pa,omitempty"` // maximum working pressure
	Note        string         `json:"note,omitempty"`
}

// JobOf is a job card as a record keeps it; lengths of 0 are not given.
func JobOf(j crimp.Job) *Job {
	a, b := j.Ends[0], j.Ends[1]
	return &Job{
		Reference: j.Reference, HosePart: j.Hose.Name, HoseMaker: j.Hose.Maker, HoseLot: j.Hose.Lot,
		ASpec: a.Spec, APart: a.Fitting.Name, AMaker: a.Fitting.Maker, ALot: a.Fitting.Lot, ACutOff: given(a.CutOff),
		BSpec: b.Spec, BPart: b.Fitting.Name, BMaker: b.Fitting.Maker, BLot: b.Fitting.Lot, BCutOff: given(b.CutOff),
		Length: given(j.Length), LengthPlus: given(j.Plus), LengthMinus: given(j.Minus),
		Elbows: j.Angle, Working: j.Working, Note: j.Note,
	}
}

// Card is the job card of an order that the record keeps.
func (j *Job) Card(order string, quantity int) crimp.Job {
	return crimp.Job{
		Order: order, Reference: j.Reference, Quantity: quantity,
		Hose: crimp.Part{Name: j.HosePart, Maker: j.HoseMaker, Lot: j.HoseLot},
		Ends: [2]crimp.End{
			{Spec: j.ASpec, Fitting: crimp.Part{Name: j.APart, Maker: j.AMaker, Lot: j.ALot}, CutOff: told(j.ACutOff)},
			{Spec: j.BSpec, Fitting: crimp.Part{Name: j.BPart, Maker: j.BMaker, Lot: j.BLot}, CutOff: told(j.BCutOff)},
		},
		Length: told(j.Length), Plus: told(j.LengthPlus), Minus: told(j.LengthMinus),
		Angle: j.Elbows, Working: j.Working, Note: j.Note,
	}
}

// given is a length that is there if it is more than nothing.
func given(l crimp.Length) *crimp.Length {
	if l == 0 {
		return nil
	}
	return &l
}

func told(l *crimp.Length) crimp.Length {
	if l == nil {
		return 0
	}
	return *l
}
