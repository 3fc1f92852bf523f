package station

import "benchtally/agent/record"

// take keeps that trouble came or went; what is known already is not said again.
func (in Fault) take(s *Station) {
	now, on := s.state.Faults[in.Source]
	state := record.Off
	if in.On {
		state = record.On
	}
	if in.On == on && (!on || now.Reason == in.Reason) {
		return
	}
	s.emit(record.Record{At: in.At, Kind: record.Fault, Source: in.Source, State: state, Reason: in.Reason})
	if in.Since.IsZero() {
		return
	}
	since := record.Stamp(in.Since)
	for n := len(s.state.Taken); n > 0 && !s.state.Taken[n-1].At.Before(since); n = len(s.state.Taken) {
		if s.withdraw(Action{At: in.At}) != "" {
			return // of a crimp that was followed by a stroke: its verdict stands
		}
	}
}

// take keeps what was refused, with the reason.
func (in Refusal) take(s *Station) {
	s.emit(record.Record{At: in.At, Kind: record.Refused, Source: in.Source, Reason: in.Reason, Raw: in.Raw})
}
