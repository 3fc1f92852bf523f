package panel

import (
	"fmt"
	"slices"
)

// told is what people measured on an assembly: one number, or a proof test.
type told struct {
	frame
	N      int
	What   string // length, angle or proof
	Text   string
	Field  field
	Units  []string // of pressure, the usual one first
	Save   string
	Wanted bool // a name is wanted and none is known
}

func toldView(a asked) (any, string) {
	o, n, what := a.View.Order, a.number(), a.r.PathValue("do")
	if o == nil || o.Job == nil || n == 0 || !slices.Contains([]string{"length", "angle", "proof"}, what) {
		return nil, "/assemblies"
	}
	t, j := a.t, o.Job
	a.Up = fmt.Sprintf("/assembly/%d", n)
	v := told{frame: a.frame, N: n, What: what, Save: t.Say("Save")}
	switch what {
	case "length":
		v.Title = t.Say("Length of assembly %d", n)
		v.Field = a.Decimal("value", v.Title, string(unit(o.Spec.Unit)))
		v.Text = t.Say("Wanted %s", a.long(o.Spec.Unit, j.Length)+" "+a.tolerance(o.Spec.Unit, j.Plus, j.Minus, coarse(o.Spec.Unit)))
	case "angle":
		v.Title = t.Say("Angle of assembly %d", n)
		v.Field = a.Decimal("angle", v.Title, "°")
		if j.Angle != nil {
			v.Text = t.Say("Wanted %s", fmt.Sprintf("%d°", *j.Angle))
		}
	case "proof":
		v.Title = t.Say("Proof test of assembly %d", n)
		v.Units = []string{"bar", "psi", "MPa"}
		v.Field = a.Decimal("pressure", t.Say("Pressure"), "")
		if j.Working > 0 {
			v.Text = t.Say("Twice the working pressure is %s, held 30 to 60 s (ISO 6605). Trained people make the test; here it is only told.", (2 * j.Working).String())
		} else {
			v.Text = t.Say("Trained people make the test; here it is only told.")
		}
		v.Wanted = a.View.Operator == "" && a.Signed == ""
	}
	return v, ""
}
