package panel

import (
	"fmt"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// newSetting is the setting to be dialled, with the one that was told if that is another.
func newSetting(v station.View) *setting {
	a := advised(v)
	switch {
	case a == nil && v.Setting == nil:
		return nil
	case a == nil || v.Setting != nil && *a == *v.Setting:
		return &setting{Name: "Setting", Digits: crimp.Dial(*v.Setting)}
	case v.Setting == nil:
		return &setting{Name: "Set", Digits: crimp.Dial(*a)}
	}
	return &setting{Name: "Set", Digits: crimp.Dial(*a), Told: "now " + crimp.Dial(*v.Setting)}
}

// newCare is how far the loaded cage is from its next works.
func newCare(v station.View) []care {
	var list []care
	for _, c := range v.Care {
		name := map[crimp.Work]string{crimp.Lubricate: "Lubricate", crimp.Teardown: "Tear down"}[c.Work]
		if name == "" || c.Limit == 0 && !c.Due {
			continue
		}
		text := fmt.Sprintf("%s in %d", name, c.Limit-c.Strokes)
		if c.Due {
			text = name + " due"
		}
		list = append(list, care{text, c.Due})
	}
	return list
}

// newLinks are the links, each with a word of what to mind.
func newLinks(s Snapshot) []link {
	list := make([]link, len(s.Links))
	for i, l := range s.Links {
		list[i] = link{Name: upper(l.Name), OK: l.OK, Text: l.Text}
		if !l.OK {
			list[i].State = "fault"
		}
		if l.Name == linkBroker {
			list[i].State = waiting(l.OK, s.Queue)
			if s.Queue > 0 {
				list[i].Text = fmt.Sprintf("%s, %d events wait", l.Text, s.Queue)
			}
		}
	}
	return list
}

// waiting is what to mind of the broker, short enough for the side.
func waiting(ok bool, queue uint64) string {
	switch {
	case !ok:
		return "away"
	case queue == 0:
		return ""
	case queue < 1000:
		return fmt.Sprintf("%d wait", queue)
	default:
		return fmt.Sprintf("%dk wait", min(queue/1000, 999))
	}
}
