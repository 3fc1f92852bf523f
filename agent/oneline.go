package main

import (
	"fmt"
	"strings"

	"benchtally/agent/panel"
)

// oneLine is how the press stands on one line, as "systemctl status" shows it.
func oneLine(s panel.Snapshot) string {
	work := "no order in work"
	if o := s.View.Order; o != nil {
		work = fmt.Sprintf("order %s, %d of %d pieces crimped", o.ID, o.Pieces, o.Quantity)
	}
	var faults []string
	for _, l := range s.Links {
		if !l.OK {
			faults = append(faults, l.Name+": "+l.Text)
		}
	}
	if len(faults) == 0 {
		return fmt.Sprintf("%s: %s; no fault", s.Press, work)
	}
	return fmt.Sprintf("%s: %s; %s: %s", s.Press, work, plural(len(faults), "fault"), strings.Join(faults, "; "))
}
