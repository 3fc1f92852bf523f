// Package label is what the shop's own labels say, on orders, cages, pieces,
// badges and beside the press: plain words that people can read as well, such as
// "CAGE C-21". What a scanner sends is read here, and what is printed is written
// here.
package label

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Kind is what a label is on.
type Kind string

// The kinds of labels, as they stand on them.
const (
	Order Kind = "ORDER" // an order's job card
	Cage  Kind = "CAGE"  // a die cage
	Piece Kind = "PIECE" // an end, or the assembly that it belongs to
	Check Kind = "CHECK" // a gauge block or ring
	Badge Kind = "BADGE" // a person; the rest is a secret
	Do    Kind = "DO"    // a command that lies beside the press
)

// Kinds are all kinds.
func Kinds() []Kind { return []Kind{Order, Cage, Piece, Check, Badge, Do} }

// The commands.
const (
	Undo       = "UNDO"       // the last reading is withdrawn
	Same       = "SAME"       // the last stroke was on the piece before
	Dry        = "DRY"        // the last stroke crimped nothing
	Set        = "SET"        // the setting advised is dialled
	Good       = "GOOD"       // the end was looked at, and all is as it should be
	First      = "FIRST"      // the first piece is signed off
	Turn       = "TURN"       // the other end comes next
	Lubricated = "LUBRICATED" // the loaded cage was
	Cleaned    = "CLEANED"    // likewise
	Finish     = "FINISH"     // the order is done or set aside
	Scrap      = "SCRAP"      // the piece is given up
)

// Commands are all commands, in the order of the sheet beside the press.
func Commands() []string {
	return []string{Set, Good, First, Undo, Same, Dry, Turn, Scrap, Lubricated, Cleaned, Finish}
}

// Label is what one label says.
type Label struct {
	Kind Kind
	ID   string // of what it is on; a command
}

// Text is the label's content.
func (l Label) Text() string { return string(l.Kind) + " " + l.ID }

// longest is the longest content that is read, in bytes: the longest id and its
// keyword, with room to spare.
const longest = 128

// NoLabelError is content that no label of this shop has.
type NoLabelError struct{ Text string }

func (e NoLabelError) Error() string {
	return fmt.Sprintf("%q is no label of this shop: scan an order, a cage, a piece, a badge, a gauge ring or a command", e.Text)
}

// Trim leaves out the blanks and the control characters that scanners put around a
// code.
func Trim(text string) string {
	return strings.TrimFunc(text, func(c rune) bool { return c <= ' ' || c == 0x7f })
}

// Parse reads what a scanner sent, trimmed or not. The case of the keyword and of a
// command does not matter, that of an id does. The error is a NoLabelError, or says
// what is wrong with a label of the shop; it tells no badge's secret.
func Parse(text string) (Label, error) {
	text = Trim(text)
	shown := text
	switch {
	case Secret(text):
		shown = string(Badge) + " …"
	case len(shown) > 40:
		shown = strings.ToValidUTF8(shown[:40], "") + "…"
	}
	if len(text) > longest || !utf8.ValidString(text) || strings.ContainsFunc(text, func(c rune) bool { return c < ' ' || c == 0x7f }) {
		return Label{}, NoLabelError{strings.ToValidUTF8(shown, "�")}
	}
	word, id, _ := strings.Cut(text, " ")
	kind := Kind(strings.ToUpper(word))
	if !slices.Contains(Kinds(), kind) || kind != Badge && Secret(text) { // two labels run into one
		return Label{}, NoLabelError{shown}
	}
	id = strings.TrimSpace(id)
	switch {
	case id == "":
		return Label{}, fmt.Errorf("the label says %q and not which: print it anew", shown)
	case kind != Do:
		return Label{kind, id}, nil
	}
	if id = strings.ToUpper(id); !slices.Contains(Commands(), id) {
		return Label{}, fmt.Errorf("%q is no command: the sheet beside the press has %s", shown, strings.Join(Commands(), ", "))
	}
	return Label{kind, id}, nil
}

// Secret says whether a scanned text may be that of a badge, or have one in it,
// which must not be kept.
func Secret(text string) bool {
	return strings.Contains(strings.ToUpper(text), string(Badge)+" ")
}
