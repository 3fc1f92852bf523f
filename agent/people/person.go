package people

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// mostName is the length of an operator's sign, as records take it, and of a
// name, in bytes.
const mostName = 64

// Person is one operator.
type Person struct {
	ID   string `json:"operator"` // sign that records carry, such as "kj"
	Name string `json:"name"`     // as people say it; may be empty
	Lead bool   `json:"lead"`     // answers for the others
}

// Called is the name, or the sign of who has none.
func (p Person) Called() string {
	if p.Name == "" {
		return p.ID
	}
	return p.Name
}

// CheckID says why a text cannot be an operator's sign; nil: it can. Records
// take 64 bytes that can be written; a blank would be lost on labels.
func CheckID(id string) error {
	switch {
	case id == "":
		return errors.New("no operator is named: want a short sign, such as kj")
	case strings.ContainsFunc(id, unicode.IsSpace):
		return errors.New("the sign of an operator has no blanks: want one such as kj")
	}
	return checkText("the sign of an operator", id)
}

// CheckName says why a text cannot be a person's name; nil: it can.
func CheckName(name string) error {
	if name != strings.TrimSpace(name) {
		return errors.New("the name begins or ends with a blank: take it away")
	}
	return checkText("the name", name)
}

func checkText(what, text string) error {
	switch {
	case len(text) > mostName:
		return fmt.Errorf("%s is longer than %d bytes", what, mostName)
	case !utf8.ValidString(text), strings.ContainsFunc(text, func(c rune) bool { return !unicode.IsPrint(c) || c == utf8.RuneError }):
		return fmt.Errorf("%s holds a character that cannot be written", what)
	}
	return nil
}
