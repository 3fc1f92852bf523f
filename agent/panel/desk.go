package panel

import (
	"context"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/people"
	"benchtally/agent/report"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

// Act does one action of an operator. Refused says in plain words why it makes
// no sense now; an error says that nothing of it was kept. The action's time is
// left empty, for Act to stamp.
type Act func(ctx context.Context, a station.Action) (refused string, err error)

// Desk is what the page asks of the agent. Act is needed; what else is nil is not
// offered.
type Desk struct {
	Act   Act
	Scan  func(ctx context.Context, text, operator string) (Scanned, error) // one label that was scanned
	Jobs  func() []crimp.Job                                                // the job cards as they are now
	Paper func(ctx context.Context, p PaperRequest) (Paper, error)
	// Series is what the pictures are drawn of.
	Series func(ctx context.Context) (report.Series, error)
	// Checks are the latest checks of the caliper, the newest first.
	Checks func(ctx context.Context) ([]station.CaliperEntry, error)
	Door   *people.Door // nil: nobody signs in
}

// Scanned is what became of a label.
type Scanned struct {
	Said    string // what was done, for a person
	Refused string // why nothing was; "": it was
	Person  string // whose badge it was; "": it was none
}

// text is what became of it, for a person.
func (s Scanned) text(t words.Tongue) string {
	if s.Refused != "" {
		return answer{Refused: s.Refused}.text(t)
	}
	return t.Sentence(s.Said)
}

// PaperRequest names a paper.
type PaperRequest struct {
	Kind     string // certificate, card, labels, table, label, commands, shop or handover
	ID       string // order, or order and assembly with a slash between; "" where the kind needs none
	Language string
}

// Name is what the paper's file is called.
func (r PaperRequest) Name() string {
	name, ext := r.Kind, ".pdf"
	if r.ID != "" {
		name += "-" + strings.Map(func(c rune) rune {
			if strings.ContainsRune(`/\\:*?"<>|`, c) || c < ' ' {
				return '-'
			}
			return c
		}, r.ID)
	}
	if r.Kind == "table" {
		ext = ".csv"
	}
	return name + ext
}

// Paper is a file to be printed or kept.
type Paper struct {
	Name string // of the file
	Type string // media type
	Body []byte
}
