package station

import (
	"maps"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// View is what others may see of a station: a copy, made after the commit.
type View struct {
	Seq      uint64
	At       time.Time // of the latest record; zero: there is none
	Cage     string
	Strokes  int // of the loaded cage, ever
	Setting  *int
	Operator string
	Retract  bool // the ring was fully retracted since the last stroke or load
	Order    *OrderView
	Care     []CareView // of the loaded cage
	Verdict  *record.Record
	Next     *record.Record // the correction for the next piece
	Recrimp  *record.Record // the correction for crimping the same piece again
	Opening  *record.Record // advice for the first piece, in the form of a correction that is not kept
	Zero     *ZeroView
	Standard *StandardView // latest check of the caliper against a gauge block or ring; nil: none yet
	Awaited  string        // gauge block or ring that the next reading is of; "": none
	Oil      CareView      // of the press: the hydraulic oil's level
	Clock    ClockView
	Checks   ChecksView
	Faults   map[record.Source]string
	Since    map[record.Source]time.Time // when each of them began
}

// OrderView is the order in work.
type OrderView struct {
	ID       string
	Spec     crimp.Spec
	Quantity int
	Pieces   int            // crimped so far
	Piece    string         // the readings belong to; "": none
	Crimp    int            // of that piece
	Readings []crimp.Length // taken of that crimp
	Missing  int            // readings until the verdict; 0: none is waited for
	Again    string         // piece that the next stroke crimps again; "": it opens the next piece
	Tally    map[crimp.Outcome]int
	First    uint64 // seq of its first start

	// With a job card; else the order is counted in single ends and these are empty.
	Job      *crimp.Job // with the lots in use and the tolerance of the length
	Cut      crimp.Length
	Ends     []crimp.EndName // that are crimped here
	End      crimp.EndName   // that is in work
	Turn     crimp.EndName   // that was asked for; "": as it comes
	Assembly int             // of Piece; 0: none
	Next     int             // assembly that the next stroke is of
	NextEnd  crimp.EndName   // and its end
	Marks    Marks           // must not be changed
	Points   Points          // that are looked at
	InTurn   bool            // both ends have one specification and may be made in turn
	Crimped  bool            // as many of each end as ordered are crimped and stand
	EndDone  bool            // likewise of the end that was started
	Done     int             // assemblies complete
	Lost     int             // assemblies scrapped

	Latest []PieceView // the latest pieces at hand, oldest first
	Look   string      // piece whose points are still to be looked at; "": none
	Sign   string      // first piece of a set-up that is still to be signed off; "": none
}

// PieceView is one of the latest pieces.
type PieceView struct {
	ID       string
	N        int
	Assembly int
	End      crimp.EndName
	Setting  int // of its latest crimp
	Crimps   int
	Outcome  crimp.Outcome
	Mean     *crimp.Length   // nil: nothing measured
	Given    bool            // given up by a person
	Looked   map[string]Mark // points of the end that were looked at
}

// StandardView is a check of the caliper against a gauge block or ring.
type StandardView struct {
	At      time.Time
	Name    string
	Nominal crimp.Length
	Value   crimp.Length
	OK      bool
}

// ChecksView is how far the caliper can be trusted.
type ChecksView struct {
	Due   bool   // the shop's interval is over
	Doubt uint64 // seq from which readings are in doubt until the caliper is found good; 0: none are
}

// CareView is one work on the loaded cage.
type CareView struct {
	Work    crimp.Work
	Strokes int
	Since   time.Time
	Limit   int // strokes; 0: by no count
	Due     bool
	Last    time.Time       // when it falls due by the calendar; zero: by no date
	Days    int             // until it falls due, at the bench's own pace or by the calendar, whichever comes first; -1: not known
	By      crimp.Condition // how the cage was found last; "": nobody said
}

// ZeroView is the latest reading of closed jaws.
type ZeroView struct {
	At    time.Time
	Value crimp.Length
	OK    bool
}

// Advice is the setting that the next stroke wants; nil: there is no advice.
func (v View) Advice() *int {
	o := v.Order
	switch {
	case o == nil:
		return nil
	case o.Again != "":
		if r := v.Recrimp; r != nil && r.Piece == o.Again {
			return r.Setting
		}
		return nil
	case v.Next != nil && v.Next.Order == o.ID:
		return v.Next.Setting
	case v.Opening != nil:
		return v.Opening.Setting
	}
	return nil
}

// View is the station as it stands.
func (s *Station) View() View {
	st := &s.state
	v := View{
		Seq: st.Seq, At: st.At, Cage: st.Cage, Setting: st.Setting, Operator: st.Operator, Retract: st.Retract,
		Faults: make(map[record.Source]string, len(st.Faults)),
		Since:  make(map[record.Source]time.Time, len(st.Faults)),
	}
	for source, f := range st.Faults {
		v.Faults[source], v.Since[source] = f.Reason, f.At
	}
	if c := st.Cages[st.Cage]; c != nil {
		v.Strokes = c.Strokes
		for _, w := range crimp.Works() {
			v.Care = append(v.Care, s.careView(c, w))
		}
	}
	if st.Last != nil {
		verdict := st.Last.Verdict
		v.Verdict, v.Next, v.Recrimp = &verdict, st.Last.Next, st.Last.Recrimp
	}
	if z := st.Zero; z != nil {
		v.Zero = &ZeroView{At: z.At, Value: z.Value, OK: z.OK}
	}
	if st.Order != nil {
		v.Order = s.orderView(st.Order)
		v.Opening = s.opening()
	}
	v.Awaited, v.Standard = st.Caliper.Awaited, st.Caliper.Standard
	v.Checks = ChecksView{Due: s.checkDue(), Doubt: st.Caliper.Doubt}
	v.Oil = s.oilView()
	v.Clock = st.clockView()
	return v
}

func (s *Station) careView(c *crimp.Cage, w crimp.Work) CareView {
	since := c.Since(w)
	v := CareView{Work: w, Strokes: since.Strokes, Since: since.At, Limit: s.limit(w), Due: since.Due, Days: -1, By: c.Found}
	if days, known := c.DueIn(w, s.rules.Intervals, s.state.Clock.Now); known {
		v.Days = days
	}
	if months := s.rules.Intervals.Months; w == crimp.Teardown && months > 0 {
		v.Last = crimp.AddMonths(since.At.UTC(), months)
	}
	return v
}

func (s *Station) oilView() CareView {
	oil, days := s.state.Oil, s.rules.Intervals.OilDays
	v := CareView{Work: crimp.Oil, Strokes: oil.Strokes, Since: oil.At, Due: oil.Due, Days: -1}
	if days > 0 && !oil.At.IsZero() {
		v.Last = oil.At.AddDate(0, 0, days)
		v.Days = max(0, int(v.Last.Sub(s.state.Clock.Now)/(24*time.Hour)))
	}
	return v
}

func (s *Station) limit(w crimp.Work) int {
	switch w {
	case crimp.Lubricate:
		return s.rules.Intervals.Lubricate
	case crimp.Teardown:
		return s.rules.Intervals.Teardown
	case crimp.Clean, crimp.Oil:
		return 0
	}
	return 0
}

func (s *Station) orderView(o *order) *OrderView {
	v := &OrderView{
		ID: o.ID, Spec: o.Spec, Quantity: o.Quantity, Pieces: o.N, First: o.First,
		Tally: maps.Clone(o.Tally), Latest: o.latestViews(),
	}
	if p := o.piece(o.Again); p != nil {
		v.Again = o.id(p.N)
	}
	s.jobView(v, o)
	p := o.at()
	if p == nil {
		return v
	}
	v.Piece, v.Crimp, v.Assembly = o.id(p.N), len(p.Shots), p.Assembly
	if p.End != crimp.NoEnd {
		v.End = p.End
	}
	for _, t := range p.shot().Readings {
		v.Readings = append(v.Readings, t.Value)
	}
	if p.shot().Outcome == "" && p.Given == "" && (p.Due || len(v.Readings) > 0) {
		v.Missing = o.Spec.Places - len(v.Readings)
	}
	return v
}

// jobView fills in what an order with a job card has more.
func (s *Station) jobView(v *OrderView, o *order) {
	if o.Job == nil {
		return
	}
	v.Job, v.Cut, v.Ends, v.End, v.Turn = o.Job, o.Cut, o.Job.EndNames(), o.End, o.Turn
	v.InTurn = o.inTurn()
	v.Points = o.points(s.rules.Points)
	v.Marks = maps.Clone(o.Marks)
	if again := o.piece(o.Again); again != nil {
		v.NextEnd, v.Next = again.End, again.Assembly
	} else {
		v.NextEnd, v.Next = o.opens()
	}
	v.Crimped = len(v.Ends) > 0
	for _, e := range v.Ends {
		v.Crimped = v.Crimped && o.full(e)
	}
	v.EndDone = o.full(o.End)
	all := v.Marks.rows(v.Ends, v.Points)
	for k := range v.Marks.Len() {
		switch all.state(k + 1) {
		case Complete:
			v.Done++
		case GivenUp:
			v.Lost++
		case ToCrimp, ToJudge, ToCheck:
		}
	}
	if p := o.piece(o.Sign); p != nil && s.rules.FirstPiece {
		v.Sign = o.id(p.N)
	}
	if p := o.latest(); p != nil && p.Outcome == crimp.Pass && p.Given == "" {
		for _, point := range v.Points.End {
			if p.Looked[point] != MarkChecked {
				v.Look = o.id(p.N)
			}
		}
	}
}

// meanOf is the mean of readings, rounded to the nanometre.
func meanOf(readings []taken) crimp.Length {
	sum := crimp.Length(0)
	for _, t := range readings {
		sum += t.Value
	}
	return crimp.Nearest(float64(sum) / float64(len(readings)))
}

// latestViews are the pieces at hand.
func (o *order) latestViews() []PieceView {
	views := make([]PieceView, len(o.Pieces))
	for i, p := range o.Pieces {
		v := PieceView{
			ID: o.id(p.N), N: p.N, Assembly: p.Assembly, End: p.End, Setting: p.shot().Setting, Crimps: len(p.Shots),
			Outcome: p.Outcome, Given: p.Given != "", Looked: maps.Clone(p.Looked),
		}
		if readings := p.shot().Readings; len(readings) > 0 && p.shot().Outcome != "" {
			v.Mean = record.Ptr(meanOf(readings))
		}
		views[i] = v
	}
	return views
}
