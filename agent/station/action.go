package station

import (
	"encoding/json"
	"fmt"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// take does what the operator did, or says why it makes no sense now.
func (in Action) take(s *Station) {
	if reason := s.act(in); reason != "" {
		raw, err := json.Marshal(in)
		if err != nil {
			raw = []byte(in.Do)
		}
		s.emit(record.Record{At: in.At, Kind: record.Refused, Source: record.Action, Reason: reason, Raw: string(raw)})
	}
}

func (s *Station) act(in Action) (refused string) {
	switch in.Do {
	case DoLoad:
		return s.load(in)
	case DoStart:
		return s.start(in)
	case DoSet:
		return s.set(in)
	case DoUndo:
		return s.withdraw(in)
	case DoDry:
		return s.dry(in)
	case DoSame:
		return s.same(in)
	case DoCare:
		return s.care(in)
	case DoFinish:
		return s.finish(in)
	case DoMeasure:
		return s.measure(in)
	case DoOperator:
		return s.operator(in)
	case DoTurn:
		return s.turn(in)
	case DoLot:
		return s.lot(in)
	case DoCheck:
		return s.check(in)
	case DoProof:
		return s.proof(in)
	case DoScrap:
		return s.scrap(in)
	case DoStandard:
		return s.standard(in)
	}
	return fmt.Sprintf("there is no action %q: use one of %v", in.Do, Dos())
}

func (s *Station) load(in Action) string {
	if reason := badName("cage", in.Cage); reason != "" {
		return reason
	}
	if c := s.state.Cages[in.Cage]; c != nil && c.Found == crimp.Out {
		return fmt.Sprintf("cage %s was taken out of service: load another, or tell how it was found after its next inspection", in.Cage)
	}
	if end, ok := s.across(in.Cage); ok { // the order goes on with its other end
		if reason := s.state.Order.waiting(); reason != "" {
			return reason
		}
		order := s.state.Order.ID
		s.loaded(in)
		return s.start(Action{At: in.At, Do: DoStart, Order: order, End: end, Operator: in.Operator})
	}
	if o := s.state.Order; o != nil && o.Spec.Cage != in.Cage {
		return fmt.Sprintf("order %s is in work and %s needs cage %s, not %s: load %s, or finish the order first", o.ID, o.Spec.ID, o.Spec.Cage, in.Cage, o.Spec.Cage)
	}
	s.loaded(in)
	return ""
}

func (s *Station) loaded(in Action) {
	s.emit(record.Record{At: in.At, Kind: record.Load, Cage: in.Cage})
	s.checkCare(in.At)
}

func (s *Station) start(in Action) string {
	if reason := badName("order", in.Order); reason != "" {
		return reason
	}
	before := s.state.Order
	if before == nil || before.ID != in.Order {
		before = s.recall(in.Order)
	}
	job := s.jobOf(in.Order, before)
	if job != nil {
		end, refused := s.endOf(in, job, before)
		if refused != "" {
			return refused
		}
		in.End, in.Spec = end, job.End(end).Spec
		if in.Quantity == 0 {
			in.Quantity = job.Quantity
		}
	} else if in.End != crimp.NoEnd {
		return fmt.Sprintf("order %s has no job card: it is counted in single ends", in.Order)
	}
	if in.Spec == "" && before != nil {
		in.Spec = before.Spec.ID
	}
	spec, known := s.specs[in.Spec]
	if !known {
		return fmt.Sprintf("spec %q is not in the specs files: check the order, or add it from the maker's current sheet", in.Spec)
	}
	if cage := s.state.Cage; cage != "" && cage != spec.Cage {
		return fmt.Sprintf("cage %s is loaded, %s needs cage %s: load it first", cage, spec.ID, spec.Cage)
	}
	setting := spec.Setting
	if in.Setting != nil {
		setting = *in.Setting
	}
	if reason := s.badSetting(setting); reason != "" {
		return reason
	}
	if reason := s.badOperator(in); reason != "" {
		return reason
	}
	if in.Operator == "" && s.state.Named {
		in.Operator = s.state.Operator
	}
	if before != nil && before == s.state.Order && before.End != in.End {
		if reason := before.waiting(); reason != "" {
			return reason
		}
	}
	if in.Quantity < 0 {
		return fmt.Sprintf("quantity %d: want 1 or more", in.Quantity)
	}
	places := spec.Places
	if places == 0 {
		places = s.rules.Places
	}
	r := record.Record{
		At: in.At, Kind: record.Start, Order: in.Order, Spec: spec.ID, Revision: spec.Revision,
		Quantity: in.Quantity, Cage: spec.Cage, Operator: in.Operator, Unit: spec.Unit,
		Target: record.Ptr(spec.Diameter), Plus: record.Ptr(spec.Plus), Minus: record.Ptr(spec.Minus),
		Nominal: record.Ptr(spec.Setting), Recrimps: spec.Recrimps, Places: places, Setting: record.Ptr(setting),
		End: in.End, Hose: spec.Hose, Fitting: spec.Fitting, Size: spec.Size,
	}
	if spec.Skive > 0 {
		r.Skive = record.Ptr(spec.Skive)
	}
	if spec.Insertion > 0 {
		r.Insertion = record.Ptr(spec.Insertion)
	}
	if job != nil {
		r.Job, r.Hint = s.jobRecord(job), job.Caution()
	}
	if before != nil {
		r.Pieces = before.N
		if r.Quantity == 0 {
			r.Quantity = before.Quantity
		}
		if p := before.latest(); p != nil && before.Spec.ID != spec.ID {
			s.leave(before, p, in.At, "the order went on to another spec")
		}
	}
	spec.Places = places
	if a, known := s.advise(&r, spec, s.foreknown(spec.Cage, spec), setting); known {
		r.Advised = record.Ptr(a.Setting)
	}
	s.emit(r)
	s.checkCare(in.At)
	return ""
}

func (s *Station) set(in Action) string {
	if in.Setting == nil {
		return "no setting is named: say which setting was dialled"
	}
	if reason := s.badSetting(*in.Setting); reason != "" {
		return reason
	}
	r := record.Record{At: in.At, Kind: record.Set, Setting: record.Ptr(*in.Setting)}
	if o := s.state.Order; o != nil {
		r.Order = o.ID
	}
	s.emit(r)
	return ""
}

func (s *Station) badSetting(setting int) string {
	if _, outside := s.rules.Scale.Clamp(setting); outside {
		return fmt.Sprintf("setting %d cannot be dialled: this press goes from %s to %s", setting, crimp.Dial(s.rules.Scale.Lowest), crimp.Dial(s.rules.Scale.Highest))
	}
	return ""
}

func (s *Station) finish(in Action) string {
	o := s.state.Order
	if o == nil {
		return "no order is in work"
	}
	if in.Order != "" && in.Order != o.ID {
		return fmt.Sprintf("order %s is not in work, %s is", in.Order, o.ID)
	}
	s.emit(record.Record{
		At: in.At, Kind: record.Finish, Order: o.ID, Spec: o.Spec.ID, Quantity: o.Quantity,
		Cage: s.state.Cage, Setting: s.state.Setting, Operator: s.state.Operator, Pieces: o.N,
	})
	return ""
}

// measure lets the next readings belong to an older piece of the order.
func (s *Station) measure(in Action) string {
	o := s.state.Order
	if o == nil {
		return "no order is in work"
	}
	again, refused := o.named(in.Piece)
	if refused != "" {
		return refused
	}
	n := again.N
	if p := o.at(); p != nil && p.N != n && p != o.latest() {
		s.leave(o, p, in.At, "another piece was measured again")
	}
	s.emit(record.Record{At: in.At, Kind: record.Measure, Order: o.ID, Piece: o.id(n)})
	return ""
}

// operator says who is at the press.
func (s *Station) operator(in Action) string {
	if reason := s.badOperator(in); reason != "" {
		return reason
	}
	s.emit(record.Record{At: in.At, Kind: record.Operator, Operator: in.Operator})
	return ""
}

// who does an action: who it names, or who is at the press.
func (s *Station) who(in Action) string {
	if in.Operator == "" && s.state.Named {
		return s.state.Operator
	}
	return in.Operator
}

// badOperator says why an action's operator cannot be named so; "": nobody is
// named, or it can.
func (s *Station) badOperator(in Action) string {
	if in.Operator == "" {
		return ""
	}
	return badName("operator", in.Operator)
}

// longestFinding is how much people may write into a record, in bytes.
const longestFinding = 300

// badText says why what a person wrote cannot be kept; "": it can.
func badText(what, text string) string {
	if len(text) > longestFinding {
		return fmt.Sprintf("the %s is longer than %d characters", what, longestFinding)
	}
	for _, c := range text {
		if c < ' ' || c == 0x7f || c == '\uFFFD' {
			return fmt.Sprintf("the %s holds a character that cannot be written", what)
		}
	}
	return ""
}

// badName says why a name cannot serve in records and piece ids; "": it can.
func badName(what, name string) string {
	if name == "" {
		return fmt.Sprintf("no %s is named", what)
	}
	if len(name) > 64 {
		return fmt.Sprintf("the name of the %s is longer than 64 characters", what)
	}
	for _, c := range name {
		if c < ' ' || c == 0x7f || c == '\uFFFD' {
			return fmt.Sprintf("the name of the %s holds a character that cannot be written", what)
		}
	}
	return ""
}
