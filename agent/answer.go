package main

import (
	"encoding/json"
	"slices"

	"benchtally/agent/crimp"
)

// writeJSON writes an answer as one line of JSON.
func writeJSON(e env, answer any) error {
	enc := json.NewEncoder(e.stdout)
	enc.SetEscapeHTML(false)
	return enc.Encode(answer)
}

// keptNote is what an answer about kept crimps has beside its numbers.
type keptNote struct {
	Unit   string        `json:"unit,omitempty"`   // of the values
	Series string        `json:"series,omitempty"` // what the values are
	Spec   string        `json:"spec,omitempty"`
	Cage   string        `json:"cage,omitempty"`
	SetUp  int           `json:"set_up,omitempty"`
	Lower  *crimp.Length `json:"lower_mm,omitempty"` // limits of the deviation
	Upper  *crimp.Length `json:"upper_mm,omitempty"`
	Pieces []string      `json:"pieces,omitempty"` // that the values are of, in their order
}

// writeKept writes an answer about kept crimps as one JSON object.
func writeKept(e env, answer any, note keptNote) error {
	a, err := json.Marshal(answer)
	if err != nil {
		return err
	}
	n, err := json.Marshal(note)
	if err != nil {
		return err
	}
	return writeJSON(e, json.RawMessage(slices.Concat(a[:len(a)-1], []byte{','}, n[1:])))
}
