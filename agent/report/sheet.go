package report

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// Sizes of type in points, lines in millimetres.
const (
	titlePt  = 17.0
	figurePt = 14.0
	headPt   = 10.5
	textPt   = 8.5
	smallPt  = 7.0

	titleLine = 7.5
	textLine  = 4.1
	smallLine = 3.3

	margin   = 18.0 // left and right
	headroom = 20.0 // above the text
	footroom = 18.0 // below it
)

// Shades of grey.
const (
	black = 0
	soft  = 85  // 7:1 against white
	faint = 190 // hairlines only
)

// point is one point of type in millimetres.
const point = 25.4 / 72

// sheet is a PDF in the making. Text is set by its baseline; y is where the next
// line begins.
type sheet struct {
	f     *fpdf.Fpdf
	o     Options
	w     words
	width float64
	high  float64
	y     float64
	odd   bool   // a sign was replaced
	again func() // draws what a further page begins with; may be nil
}

// newSheet begins a PDF of pages of one size, dated by the time of its data.
func newSheet(o Options, size Size, title string, made time.Time) *sheet {
	width, high := size.Width.MM(), size.Height.MM()
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: width, Ht: high}})
	f.SetCatalogSort(true)
	if made.IsZero() {
		made = time.Unix(0, 0) // else the library takes the clock
	}
	f.SetCreationDate(made.UTC())
	f.SetModificationDate(made.UTC())
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(0, 0, 0)
	f.AddUTF8FontFromBytes("go", "", goregular.TTF)
	f.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	s := &sheet{f: f, o: o, w: words{o.Language}, width: width, high: high}
	title, _ = legible(title)
	f.SetTitle(title, true)
	f.SetCreator("benchtally", true)
	return s
}

// page begins the next page.
func (s *sheet) page() {
	s.f.AddPage()
	s.y = headroom
}

// need begins the next page if the text has less than this height left. The type
// stays.
func (s *sheet) need(h float64) {
	if s.y+h > s.high-footroom {
		s.page()
		if s.again != nil {
			f := s.f
			pt, _ := f.GetFontSize()
			style := f.GetFontStyle()
			grey, _, _ := f.GetTextColor()
			s.again()
			s.face(pt, style == "B", grey)
		}
	}
}

// face chooses the type.
func (s *sheet) face(pt float64, bold bool, grey int) {
	style := ""
	if bold {
		style = "B"
	}
	s.f.SetFont("go", style, pt)
	s.f.SetTextColor(grey, grey, grey)
}

// clean is a text as it can be set; that a sign was replaced is kept.
func (s *sheet) clean(text string) string {
	text, whole := legible(text)
	s.odd = s.odd || !whole
	return text
}

// put sets a line that begins at x.
func (s *sheet) put(x, y float64, text string) {
	if text = s.clean(text); text != "" {
		s.f.Text(x, y, text)
	}
}

// end sets a line that ends at x.
func (s *sheet) end(x, y float64, text string) {
	text = s.clean(text)
	s.put(x-s.f.GetStringWidth(text), y, text)
}

// long is how long a line is in the type that is chosen.
func (s *sheet) long(text string) float64 {
	text, _ = legible(text)
	return s.f.GetStringWidth(text)
}

// fit is a text that is no longer than this, with its middle left out if need be.
func (s *sheet) fit(text string, width float64) string {
	if s.long(text) <= width {
		return text
	}
	runes := []rune(text)
	for n := len(runes) - 1; n > 0; n-- {
		short := string(runes[:(n+1)/2]) + "…" + string(runes[len(runes)-n/2:])
		if s.long(short) <= width {
			return short
		}
	}
	return "…"
}

// wrap breaks a text into lines no longer than this, between words where it can.
func (s *sheet) wrap(text string, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		joined := word
		if line != "" {
			joined = line + " " + word
		}
		if s.long(joined) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for line = word; s.long(line) > width; {
			runes := []rune(line)
			n := len(runes) - 1
			for n > 1 && s.long(string(runes[:n])) > width {
				n--
			}
			if n < 1 {
				break
			}
			lines, line = append(lines, string(runes[:n])), string(runes[n:])
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// flow sets a text in as many lines as it needs, over pages if need be.
func (s *sheet) flow(x, width, line float64, text string) {
	for _, part := range s.wrap(text, width) {
		s.need(line)
		s.put(x, s.y+line*0.75, part)
		s.y += line
	}
}

// rule draws a hairline over the width of the text.
func (s *sheet) rule(y float64, grey int) {
	s.f.SetDrawColor(grey, grey, grey)
	s.f.SetLineWidth(0.15)
	s.f.Line(margin, y, s.width-margin, y)
}

// inner is the width of the text.
func (s *sheet) inner() float64 { return s.width - 2*margin }

// section sets a heading with room for something below it.
func (s *sheet) section(title string, room float64) {
	s.need(10 + room)
	s.y += 4
	s.face(headPt, true, black)
	s.put(margin, s.y+4, title)
	s.y += 6.5
}

// bytes ends the PDF.
func (s *sheet) bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := s.f.Output(&b); err != nil {
		return nil, fmt.Errorf("write the PDF: %w", err)
	}
	return b.Bytes(), nil
}

// feet sets the foot of every page and ends the PDF: the same text to the left,
// the number of the page and how many there are to the right.
func (s *sheet) feet(text string) ([]byte, error) {
	n := s.f.PageCount()
	for p := 1; p <= n; p++ {
		s.f.SetPage(p)
		s.rule(s.high-footroom+5, faint)
		s.face(smallPt, false, soft)
		page := s.w.Say("page %d of %d", p, n)
		s.put(margin, s.high-footroom+9, s.fit(text, s.inner()-s.long(page)-5))
		s.end(s.width-margin, s.high-footroom+9, page)
	}
	return s.bytes()
}

// note tells, where a sign had to be replaced, what stands in its place.
func (s *sheet) note() {
	if s.odd {
		s.face(smallPt, false, soft)
		s.flow(margin, s.inner(), smallLine, s.w.Say("%s stands for a sign that this paper's type does not have.", string(missing)))
	}
}
