package panel

import (
	"strconv"
	"time"

	"benchtally/agent/station"
)

// offerFor is how long what was done at once can be taken back by one touch.
const offerFor = 10 * time.Second

// offer is how a touch is taken back. It is made before the touch is done, while
// it is known what was there.
type offer struct {
	says, label func(scene) string
	do          string
	pairs       []string
}

// Says is what was done, and Form what takes it back.
func (o offer) Says(s scene) string { return o.says(s) }

// Form is the touch that takes it back.
func (o offer) Form(s scene) *form { return touch(o.label(s), o.do, o.pairs...) }

// takenBack is how an action can be taken back; nil: it cannot, or needs no offer.
func (s *server) takenBack(a station.Action) *offer {
	o := s.board.Now().View.Order
	if o == nil {
		return nil
	}
	switch {
	case a.Do == station.DoScrap && !a.Off:
		o := &offer{
			says:  func(s scene) string { return s.t.Say("Piece %d is scrap now", pieceNumber(a.Piece)) },
			label: func(s scene) string { return s.t.Say("Not scrap after all") },
			do:    string(station.DoScrap), pairs: []string{"piece", a.Piece, "off", "yes"},
		}
		if a.Assembly > 0 {
			o.says = func(s scene) string { return s.t.Say("Assembly %d is scrap now", a.Assembly) }
			o.pairs = []string{"assembly", strconv.Itoa(a.Assembly), "off", "yes"}
		}
		return o
	case a.Do == station.DoFinish:
		id, pairs := o.ID, []string{"order", o.ID}
		if o.Job == nil {
			pairs = append(pairs, "spec", o.Spec.ID)
		}
		return &offer{
			says:  func(s scene) string { return s.t.Say("Order %s is finished or set aside", id) },
			label: func(s scene) string { return s.t.Say("Go on with it") },
			do:    string(station.DoStart), pairs: pairs,
		}
	}
	return nil
}
