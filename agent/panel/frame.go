package panel

import (
	"fmt"
	"strconv"
	"time"
)

// frame is what every view has around what it shows.
type frame struct {
	scene
	Name   string // of the view
	Title  string
	Build  string
	Age    int64  // of the data, milliseconds
	Stale  string // how long there has been no data; "": it is fresh
	Said   string // the answer to the touch before
	Offer  *offer // what can be taken back for a moment; nil: nothing
	Key    string // of the forms; "": the script gives each touch its own
	Path   string // of the view itself, to come back to
	Up     string // the view that Back leads to
	Signed string // who is signed in; "": nobody
	Call   step   // the one thing that matters now
}

// stale marks a page whose data is old.
func (f frame) stale(age time.Duration) frame {
	f.Age = age.Milliseconds()
	if age >= staleAfter {
		f.Stale = f.t.Say("No data for %s s", strconv.Itoa(int(age.Seconds())))
	}
	return f
}

// Lang is the language that the page is in.
func (f frame) Lang() string { return f.shop.Language }

// Standing is the sentence on every view.
func (f frame) Standing() string { return standing(f.scene) }

func standing(s scene) string {
	return s.t.Say("Advice only. The hose and fitting maker's current crimp specification, local codes and trained people decide.")
}

// form is one action as the page offers it: the fields that are sent with it.
type form struct {
	Label  string
	Fields []hidden
	Key    string // of the touch
	ID     string
}

type hidden struct{ Name, Value string }

// touch makes the form of an action. Pairs are further fields; empty ones are left out.
func touch(label, do string, pairs ...string) *form {
	f := &form{Label: label, ID: do, Fields: []hidden{{"do", do}}}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			f.Fields = append(f.Fields, hidden{pairs[i], pairs[i+1]})
		}
	}
	return f
}

// Form gives a form of the page its key, and the view that shows a refusal.
func (f frame) Form(a *form) form {
	sent := *a
	sent.Key = f.Key
	if f.Path != "" && f.Path != "/" {
		sent.Fields = append(sent.Fields[:len(sent.Fields):len(sent.Fields)], hidden{"back", f.Path})
	}
	return sent
}

// Touch makes the form of an action, for the templates.
func (frame) Touch(label, do string) *form { return touch(label, do) }

// Scene is what the frame stands around, for the templates.
func (f frame) Scene() scene { return f.scene }

// sent is a key with its form ready to be sent.
type sent struct {
	key
	Form *form
}

// Touched gives the form of a key its fields.
func (f frame) Touched(k any) sent {
	one, is := k.(key)
	if p, pointer := k.(*key); pointer {
		one, is = *p, true
	}
	if !is || one.Form == nil {
		return sent{key: one}
	}
	ready := f.Form(one.Form)
	return sent{one, &ready}
}

// Open are the hidden fields of a form that has visible ones.
func (f frame) Open(do string, pairs ...string) form { return f.Form(touch("", do, pairs...)) }

// field is one line of a form, with the keys that fill it at the press.
type field struct {
	Name, Label, Value string
	Pad                string // digits, decimal, text or pin
	Max                int    // characters
	Required           bool
	Unit               string // beside the field
}

// Digits is a field for a whole number.
func (f frame) Digits(name, label, value string, most int) field {
	return field{Name: name, Label: label, Value: value, Pad: "digits", Max: most, Required: true}
}

// Decimal is a field for a number with a decimal sign.
func (f frame) Decimal(name, label, unit string) field {
	return field{Name: name, Label: label, Pad: "decimal", Max: 12, Required: true, Unit: unit}
}

// Words is a field for a name.
func (f frame) Words(name, label, value string, most int) field {
	return field{Name: name, Label: label, Value: value, Pad: "text", Max: most, Required: true}
}

// Maybe is a field that may stay empty.
func (f frame) Maybe(x field) field { x.Required = false; return x }

// Pattern is what the field takes.
func (x field) Pattern() string {
	switch x.Pad {
	case "digits", "pin":
		return fmt.Sprintf("[0-9]{1,%d}", x.Max)
	case "decimal":
		return "[0-9.,]+"
	}
	return ""
}
