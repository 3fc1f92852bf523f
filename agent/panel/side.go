package panel

import (
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// setting is the one to be dialled, with the one that was told if that is another.
type setting struct{ Name, Digits, Told string }

func (s scene) newSetting() *setting {
	v, a := s.View, s.View.Advice()
	switch {
	case a == nil && v.Setting == nil:
		return nil
	case a == nil || v.Setting != nil && *a == *v.Setting:
		return &setting{Name: s.t.Say("Setting"), Digits: crimp.Dial(*v.Setting)}
	case v.Setting == nil:
		return &setting{Name: s.t.Say("Set"), Digits: crimp.Dial(*a)}
	}
	return &setting{Name: s.t.Say("Set"), Digits: crimp.Dial(*a), Told: s.t.Say("now %s", crimp.Dial(*v.Setting))}
}

// care is how far the cage, the press or the caliper is from its next work.
type care struct {
	Text string
	Due  bool
}

// The side's room: lines for what is due and for devices, and in one of these.
const (
	sideLines = 8
	sideRoom  = 12 // characters of a device and its state
)

// newCare is what the side says of the loaded cage, and what else is due: that
// first, and no more than there is room for.
func (s scene) newCare() []care {
	var now, later []care
	for _, c := range s.View.Care {
		left := c.Limit - c.Strokes
		switch {
		case c.Work == crimp.Lubricate && c.Due:
			now = append(now, care{s.t.Say("Lubricate now"), true})
		case c.Work == crimp.Teardown && c.Due:
			now = append(now, care{s.t.Say("Tear down now"), true})
		case c.Work == crimp.Lubricate && c.Limit > 0:
			later = append(later, care{s.t.Say("Lubricate in %d", left), false})
		case c.Work == crimp.Teardown && c.Limit > 0:
			later = append(later, care{s.t.Say("Tear down in %d", left), false})
		}
	}
	if s.View.Checks.Doubt > 0 {
		now = append(now, care{s.t.Say("Readings in doubt"), true})
	}
	if s.View.Checks.Due {
		now = append(now, care{s.t.Say("Check the caliper"), true})
	}
	if s.View.Oil.Due {
		now = append(now, care{s.t.Say("Check the oil"), true})
	}
	room := max(2, sideLines-len(s.Links))
	if n := len(now); n > room {
		return append(now[:room-1], care{s.t.Say("%d more are due", n-room+1), true})
	}
	list := append(now, later...)
	return list[:min(len(list), room)]
}

// overdue says by how many strokes the lubrication is over; 0: it is not.
func overdue(v station.View) int {
	for _, c := range v.Care {
		if c.Work == crimp.Lubricate && c.Due && c.Limit > 0 {
			return max(0, c.Strokes-c.Limit)
		}
	}
	return 0
}

// link is a device with a word of what to mind.
type link struct {
	Name, State, Text string
	OK                bool
}

func (s scene) newLinks() []link {
	list := make([]link, len(s.Links))
	for i, l := range s.Links {
		list[i] = link{Name: s.device(l.Name), OK: l.OK, Text: s.t.Sentence(l.Text)}
		if state := s.t.Say("fault"); !l.OK && utf8.RuneCountInString(list[i].Name+state) <= sideRoom {
			list[i].State = state // the mark before the name says it too
		}
		if l.Name == linkBroker {
			list[i].State = s.waiting(l.OK)
			if s.Queue > 0 {
				list[i].Text += ", " + s.t.Say("events waiting: %d", s.Queue)
			}
		}
	}
	return list
}

func (s scene) device(name string) string {
	switch name {
	case linkSwitch:
		return s.t.Say("Switch")
	case linkCaliper:
		return s.t.Say("Caliper")
	case linkBroker:
		return s.t.Say("Broker")
	case linkStore:
		return s.t.Say("Store")
	case "clock":
		return s.t.Say("Clock")
	case "page":
		return s.t.Say("Page")
	case "certificate":
		return s.t.Say("Certificate [the certificate of TLS]")
	case "jobs":
		return s.t.Say("Job cards")
	case "scanner":
		return s.t.Say("Scanner")
	case "sparkplug":
		return "Sparkplug" // a standard's name
	}
	return upper(name)
}

// waiting is what to mind of the broker, short enough for the side.
func (s scene) waiting(ok bool) string {
	switch {
	case !ok:
		return s.t.Say("away")
	case s.Queue == 0:
		return ""
	case s.Queue < 1000:
		return s.t.Say("%d wait", s.Queue)
	default:
		return s.t.Say("%dk wait", min(s.Queue/1000, 999))
	}
}
