package report

import (
	"bytes"
	"encoding/xml"
	"strconv"
	"unicode/utf8"
)

// letter is how wide a sign is at most on average, in parts of the type's size:
// wide faces such as the page's take 0.6 (measured over our words in several
// languages).
const letter = 0.62

// svgText is the size of an SVG's type: 19 units are the least that can be read
// at arm's length on a panel of 800 points across.
const svgText = 20

// svg is a surface that is written as SVG. All is drawn with currentColor, so
// that the page's theme colours it; the classes are for a page that wants more.
type svg struct{ b bytes.Buffer }

// begin opens a picture.
func (v *svg) begin(width, height float64, title, desc string) {
	v.b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" class="picture" role="img" viewBox="0 0 `)
	v.number(width)
	v.b.WriteByte(' ')
	v.number(height)
	v.b.WriteString(`" fill="none" stroke="none" font-family="DejaVu Sans, Noto Sans, sans-serif" font-size="`)
	v.number(svgText)
	v.b.WriteString("\">\n<title>")
	v.escape(title)
	v.b.WriteString("</title>\n<desc>")
	v.escape(desc)
	v.b.WriteString("</desc>\n")
}

// end closes it.
func (v *svg) end() []byte {
	v.b.WriteString("</svg>\n")
	return v.b.Bytes()
}

func (v *svg) stroke(how pen, through ...spot) {
	width, dashes, opacity := how.stroke()
	v.b.WriteString(`<path class="pic-` + string(how) + `" d="`)
	v.path(through)
	v.b.WriteString(`" fill="none" stroke="currentColor" stroke-width="`)
	v.number(width)
	if dashes != nil {
		v.b.WriteString(`" stroke-dasharray="`)
		for i, d := range dashes {
			if i > 0 {
				v.b.WriteByte(' ')
			}
			v.number(d)
		}
	}
	if opacity < 1 {
		v.b.WriteString(`" stroke-opacity="`)
		v.number(opacity)
	}
	v.b.WriteString("\"/>\n")
}

// path writes a line through spots.
func (v *svg) path(through []spot) {
	for i, s := range through {
		if i == 0 {
			v.b.WriteByte('M')
		} else {
			v.b.WriteByte('L')
		}
		v.number(s.x)
		v.b.WriteByte(' ')
		v.number(s.y)
	}
}

func (v *svg) mark(what shape, at spot, r float64) {
	fill, width := "none", 2.5
	if what.full() {
		fill, width = "currentColor", 1
	}
	switch corners := what.outline(at, r); {
	case what == cross:
		v.b.WriteString(`<path class="pic-scrap" d="`)
		v.path([]spot{{at.x - r, at.y - r}, {at.x + r, at.y + r}})
		v.path([]spot{{at.x - r, at.y + r}, {at.x + r, at.y - r}})
		width = 3.5
	case corners != nil:
		v.b.WriteString(`<path class="pic-` + string(what) + `" d="`)
		v.path(corners)
		v.b.WriteByte('Z')
	default:
		v.b.WriteString(`<circle class="pic-` + string(what) + `" cx="`)
		v.number(at.x)
		v.b.WriteString(`" cy="`)
		v.number(at.y)
		v.b.WriteString(`" r="`)
		v.number(r)
	}
	v.b.WriteString(`" fill="` + fill + `" stroke="currentColor" stroke-width="`)
	v.number(width)
	v.b.WriteString("\"/>\n")
}

func (v *svg) text(at spot, where anchor, bold bool, words string) {
	v.b.WriteString(`<text class="pic-text" x="`)
	v.number(at.x)
	v.b.WriteString(`" y="`)
	v.number(at.y)
	v.b.WriteString(`" text-anchor="` + string(where) + `" fill="currentColor" stroke="none" font-size="`)
	v.number(svgText)
	if bold {
		v.b.WriteString(`" font-weight="700`)
	}
	v.b.WriteString(`">`)
	v.escape(words)
	v.b.WriteString("</text>\n")
}

func (v *svg) long(words string) float64 {
	return letter * svgText * float64(utf8.RuneCountInString(words))
}

// escape writes a text; what XML does not allow becomes a replacement sign.
func (v *svg) escape(s string) {
	_ = xml.EscapeText(&v.b, []byte(s)) // a buffer takes everything
}

// number writes a number to a tenth of a unit.
func (v *svg) number(f float64) {
	v.b.WriteString(strconv.FormatFloat(round(f, 10), 'f', -1, 64))
}
