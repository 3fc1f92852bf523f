package sparkplug

import (
	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// metric is one of a press's metrics as a birth declares it.
type metric struct {
	name string
	typ  DataType
	unit string
}

// mm is the engineering unit of lengths, as records have them.
const mm = "mm"

// deviceMetrics are all metrics of the press, in the order of a birth. Names keep
// their meaning for ever; new ones may be added.
var deviceMetrics = []metric{
	{"Record/Sequence", TypeInt64, ""}, // of the newest record told; the same number as in the JSON event
	{"Record/Kind", TypeString, ""},

	{"Work/Order", TypeString, ""},
	{"Work/Spec", TypeString, ""},
	{"Work/Revision", TypeString, ""},
	{"Work/Quantity", TypeInt32, ""},
	{"Work/Cage", TypeString, ""},
	{"Work/Setting", TypeInt32, ""}, // counts
	{"Work/Operator", TypeString, ""},
	{"Work/Target", TypeDouble, mm},
	{"Work/Upper Limit", TypeDouble, mm},
	{"Work/Lower Limit", TypeDouble, mm},

	{"Stroke/Piece", TypeString, ""}, // null: it belongs to no order
	{"Stroke/Cage", TypeString, ""},
	{"Stroke/Setting", TypeInt32, ""},
	{"Stroke/Crimp", TypeInt32, ""}, // 1 the first on its piece
	{"Stroke/Held", TypeInt64, "ms"},

	{"Reading/Piece", TypeString, ""},
	{"Reading/Place", TypeInt32, ""},
	{"Reading/Diameter", TypeDouble, mm},

	{"Verdict/Piece", TypeString, ""},
	{"Verdict/Outcome", TypeString, ""},
	{"Verdict/Crimp", TypeInt32, ""},
	{"Verdict/Readings", TypeInt32, ""},
	{"Verdict/Mean", TypeDouble, mm},
	{"Verdict/Deviation", TypeDouble, mm},
	{"Verdict/Ovality", TypeDouble, mm},
	{"Verdict/Standard Uncertainty", TypeDouble, mm},
	{"Verdict/Conformity", TypeDouble, ""}, // 0 to 1
	{"Verdict/Zone", TypeString, ""},
	{"Verdict/Reason", TypeString, ""},

	{"Advice/Piece", TypeString, ""},
	{"Advice/For", TypeString, ""}, // next or recrimp
	{"Advice/Setting", TypeInt32, ""},
	{"Advice/Change", TypeInt32, ""}, // counts
	{"Advice/Offset", TypeDouble, mm},
	{"Advice/Reason", TypeString, ""},

	{"Care/Cage", TypeString, ""},
	{"Care/Work", TypeString, ""},
	{"Care/State", TypeString, ""},
	{"Care/Strokes", TypeInt32, ""}, // since the last such work

	{"Closed Jaws/Value", TypeDouble, mm},
	{"Closed Jaws/OK", TypeBoolean, ""},
	{"Standard/Name", TypeString, ""},
	{"Standard/Deviation", TypeDouble, mm},
	{"Standard/OK", TypeBoolean, ""},

	{"Change/Kind", TypeString, ""}, // undo, dry or same
	{"Change/Of", TypeInt64, ""},    // sequence of the record that it changes
	{"Refused/Source", TypeString, ""},
	{"Refused/Reason", TypeString, ""},

	{"Health/Switch", TypeString, ""}, // ok, or what is wrong
	{"Health/Caliper", TypeString, ""},
}

// nodeMetrics are those of the agent itself, beside what Sparkplug demands.
var nodeMetrics = []metric{
	{"Agent/Version", TypeString, ""},
	{"Agent/Store", TypeString, ""}, // its id: sequences are counted in one store
	{"Health/Clock", TypeString, ""},
	{"Health/Store", TypeString, ""},
	{"Health/Broker", TypeString, ""}, // that of the JSON events
	{"Health/Scanner", TypeString, ""},
}

// healthy is the value of a health metric while nothing is wrong.
const healthy = "ok"

// healths are the metrics of the sources of trouble.
var healths = map[record.Source]string{
	record.Switch: "Health/Switch", record.Caliper: "Health/Caliper",
	record.Clock: "Health/Clock", record.Store: "Health/Store",
	record.Broker: "Health/Broker", record.Scanner: "Health/Scanner",
}

// ofPress says whether a source of trouble is the press's rather than the
// agent's.
func ofPress(s record.Source) bool { return s == record.Switch || s == record.Caliper }

// said is what a record says: values by the names of metrics.
type said []struct {
	name  string
	value Value
}

func (s *said) text(name, v string) {
	value := Null(TypeString)
	if v != "" {
		value = String(v)
	}
	s.add(name, value)
}

// count is a number that is null where it is 0.
func (s *said) count(name string, v int) {
	value := Null(TypeInt32)
	if v != 0 {
		value = Int32(int32(v)) //nolint:gosec // counts of a bench are small
	}
	s.add(name, value)
}

// setting is a number of counts, which may be 0.
func (s *said) setting(name string, v *int) {
	value := Null(TypeInt32)
	if v != nil {
		value = Int32(int32(*v)) //nolint:gosec // counts are three digits
	}
	s.add(name, value)
}

func (s *said) length(name string, v *crimp.Length) {
	value := Null(TypeDouble)
	if v != nil {
		value = Double(float64(*v) / float64(crimp.Millimetre))
	}
	s.add(name, value)
}

func (s *said) flag(name string, v *bool) {
	value := Null(TypeBoolean)
	if v != nil {
		value = Boolean(*v)
	}
	s.add(name, value)
}

func (s *said) add(name string, v Value) {
	*s = append(*s, struct {
		name  string
		value Value
	}{name, v})
}

// tell is what the press's metrics are after a record. A fault is not among them.
func tell(r *record.Record) (s said) {
	s.add("Record/Sequence", Int64(int64(r.Seq))) //nolint:gosec // a store does not hold 2^63 records
	s.text("Record/Kind", string(r.Kind))
	switch r.Kind {
	case record.Start:
		tellWork(&s, r)
	case record.Finish:
		tellWork(&s, &record.Record{Cage: r.Cage, Setting: r.Setting, Operator: r.Operator})
	case record.Set:
		s.setting("Work/Setting", r.Setting)
	case record.Load:
		s.text("Work/Cage", r.Cage)
	case record.Operator:
		s.text("Work/Operator", r.Operator)
	case record.Stroke:
		s.text("Stroke/Piece", r.Piece)
		s.text("Stroke/Cage", r.Cage)
		s.setting("Stroke/Setting", r.Setting)
		s.count("Stroke/Crimp", r.Crimp)
		held := Null(TypeInt64)
		if r.Held != nil {
			held = Int64(*r.Held)
		}
		s.add("Stroke/Held", held)
	case record.Reading:
		s.text("Reading/Piece", r.Piece)
		s.count("Reading/Place", r.Place)
		s.length("Reading/Diameter", r.Diameter)
	case record.Verdict:
		tellVerdict(&s, r)
	case record.Correction:
		s.text("Advice/Piece", r.Piece)
		s.text("Advice/For", r.For)
		s.setting("Advice/Setting", r.Setting)
		s.setting("Advice/Change", r.Change)
		s.length("Advice/Offset", r.Offset)
		s.text("Advice/Reason", r.Reason)
	case record.Care:
		s.text("Care/Cage", r.Cage)
		s.text("Care/Work", string(r.Work))
		s.text("Care/State", r.State)
		s.setting("Care/Strokes", r.Strokes)
	case record.Zero:
		s.length("Closed Jaws/Value", r.Value)
		s.flag("Closed Jaws/OK", r.OK)
	case record.Standard:
		s.text("Standard/Name", r.Standard)
		s.length("Standard/Deviation", r.Deviation)
		s.flag("Standard/OK", r.OK)
	case record.Undo, record.Dry, record.Same:
		s.text("Change/Kind", string(r.Kind))
		s.add("Change/Of", Int64(int64(r.Of))) //nolint:gosec // as above
	case record.Refused:
		s.text("Refused/Source", string(r.Source))
		s.text("Refused/Reason", r.Reason)
	case record.Fault, record.Retract, record.Measure, record.Turn, record.Lot, record.Check, record.Proof, record.Scrap:
		// Faults are the image's; what else there is of the others stands in the JSON event.
	}
	return s
}

// tellWork is the work in hand after a start, or after it is finished.
func tellWork(s *said, r *record.Record) {
	s.text("Work/Order", r.Order)
	s.text("Work/Spec", r.Spec)
	s.text("Work/Revision", r.Revision)
	s.count("Work/Quantity", r.Quantity)
	if r.Cage != "" {
		s.text("Work/Cage", r.Cage)
	}
	if r.Setting != nil {
		s.setting("Work/Setting", r.Setting)
	}
	if r.Operator != "" {
		s.text("Work/Operator", r.Operator)
	}
	s.length("Work/Target", r.Target)
	var upper, lower *crimp.Length
	if r.Target != nil && r.Plus != nil && r.Minus != nil {
		upper, lower = record.Ptr(*r.Target+*r.Plus), record.Ptr(*r.Target-*r.Minus)
	}
	s.length("Work/Upper Limit", upper)
	s.length("Work/Lower Limit", lower)
}

func tellVerdict(s *said, r *record.Record) {
	s.text("Verdict/Piece", r.Piece)
	s.text("Verdict/Outcome", string(r.Outcome))
	s.count("Verdict/Crimp", r.Crimp)
	s.count("Verdict/Readings", r.Readings)
	s.length("Verdict/Mean", r.Mean)
	s.length("Verdict/Deviation", r.Deviation)
	s.length("Verdict/Ovality", r.Ovality)
	s.length("Verdict/Standard Uncertainty", r.U)
	conformity := Null(TypeDouble)
	if r.Conformity != nil {
		conformity = Double(*r.Conformity)
	}
	s.add("Verdict/Conformity", conformity)
	s.text("Verdict/Zone", string(r.Zone))
	s.text("Verdict/Reason", r.Reason)
}
