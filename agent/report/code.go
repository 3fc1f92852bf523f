package report

import (
	"fmt"
	"image/color"
	"math"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/code128"
	"github.com/boombuler/barcode/qr"
)

// quietQR and quiet128 are the blank around a code, in modules: four around a QR
// code (ISO/IEC 18004) and ten before and behind a Code 128 (ISO/IEC 15417), both
// from memory.
const (
	quietQR  = 4
	quiet128 = 10
)

// Codes are drawn in whole dots of a label printer with 203 dots an inch, in
// millimetres. A bar of a Code 128 is two dots wide at least, because narrower ones
// run together, and four at most (common practice, no source).
const (
	dot       = 25.4 / 203
	leastDots = 2
	mostDots  = 4
)

// square draws a QR code with its quiet zone into the middle of a square. Its
// level M bears the loss of 15 % (ISO/IEC 18004, from memory).
func (s *sheet) square(x, y, side float64, text string) error {
	c, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		return fmt.Errorf("QR code of %q: %w", text, err)
	}
	n := c.Bounds().Dx()
	m := side / float64(n+2*quietQR)
	if m >= leastDots*dot {
		m = math.Floor(m/dot) * dot
	}
	blank := (side - float64(n)*m) / 2
	s.modules(c, x+blank, y+blank, m, m, n)
	return nil
}

// bars draws a Code 128 with its quiet zones into the middle of a width, and says
// whether it is there: what is no ASCII has no Code 128, and what would need bars
// narrower than a printer draws is left out. The QR code beside it has it then.
func (s *sheet) bars(x, y, width, high float64, text string) bool {
	for _, r := range text {
		if r > 126 || r < 32 {
			return false
		}
	}
	c, err := code128.Encode(text)
	if err != nil {
		return false // too long for any label
	}
	n := float64(c.Bounds().Dx())
	dots := min(mostDots, math.Floor(width/(n+2*quiet128)/dot))
	if dots < leastDots {
		return false
	}
	s.modules(c, x+(width-n*dots*dot)/2, y, dots*dot, high, 1)
	return true
}

// modules fills the black modules of the first rows of a code, all in one, so that
// no light shows between them.
func (s *sheet) modules(c barcode.Barcode, x, y, wide, high float64, rows int) {
	f := s.f
	f.SetFillColor(black, black, black)
	dark := func(col, row int) bool {
		return col < c.Bounds().Dx() && color.GrayModel.Convert(c.At(col, row)).(color.Gray).Y < 0x80
	}
	for row := range rows {
		top := y + float64(row)*high
		for col := 0; col < c.Bounds().Dx(); col++ {
			from := col
			for dark(col, row) {
				col++
			}
			if col == from {
				continue
			}
			left, right := x+float64(from)*wide, x+float64(col)*wide
			f.MoveTo(left, top)
			f.LineTo(right, top)
			f.LineTo(right, top+high)
			f.LineTo(left, top+high)
			f.ClosePath()
		}
	}
	f.DrawPath("F")
}
