package panel

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/words"
)

// scene is a snapshot that is shown in somebody's language.
type scene struct {
	Snapshot
	t    words.Tongue
	shop Shop
}

// Say is a phrase of the page in the reader's language, for the templates.
func (s scene) Say(english string, args ...any) string { return s.t.Say(english, args...) }

// length writes a length in the unit of a sheet, and other in the other unit.
func (s scene) length(u crimp.Unit, l crimp.Length) string {
	return s.t.Length(l, unit(u), decimals(u))
}

func (s scene) other(u crimp.Unit, l crimp.Length) string {
	if u == crimp.Inches {
		u = crimp.Millimetres
	} else {
		u = crimp.Inches
	}
	return s.length(u, l)
}

// both writes a length in the unit of a sheet with the other beside it.
func (s scene) both(u crimp.Unit, l crimp.Length) string {
	return s.length(u, l) + " (" + s.other(u, l) + ")"
}

// long writes a length of hose, which nobody measures to a thousandth, with the
// other unit beside it.
func (s scene) long(u crimp.Unit, l crimp.Length) string {
	in, mm := s.t.Length(l, crimp.Inches, 3), s.t.Length(l, crimp.Millimetres, 1)
	if u == crimp.Inches {
		return in + " (" + mm + ")"
	}
	return mm + " (" + in + ")"
}

// tolerance writes how much something may be larger and smaller.
func (s scene) tolerance(u crimp.Unit, plus, minus crimp.Length, decimals int) string {
	return "+" + s.t.Length(plus, unit(u), decimals) + " −" + s.t.Length(minus, unit(u), decimals)
}

// coarse are the decimals of a length of hose.
func coarse(u crimp.Unit) int {
	if u == crimp.Inches {
		return 3
	}
	return 1
}

// split is a length in the unit of a sheet, its number and its unit apart.
func (s scene) split(u crimp.Unit, l crimp.Length) (number, of string) {
	text := s.length(u, l)
	if i := strings.LastIndexByte(text, ' '); i > 0 {
		return text[:i], text[i+1:]
	}
	return text, ""
}

// unit is the unit of a sheet, which is mm where it says none.
func unit(u crimp.Unit) crimp.Unit {
	if u == crimp.Inches {
		return u
	}
	return crimp.Millimetres
}

// decimals are those of a caliper: a ten-thousandth of an inch, a thousandth of
// a millimetre.
func decimals(u crimp.Unit) int {
	if u == crimp.Inches {
		return 4
	}
	return 3
}

// unitInWork is the unit of the order in work; mm without one.
func (s scene) unitInWork() crimp.Unit {
	if s.View.Order == nil {
		return crimp.Millimetres
	}
	return unit(s.View.Order.Spec.Unit)
}

// upper lets a text begin with a capital letter.
func upper(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(first)) + s[size:]
}
