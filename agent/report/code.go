package report

import (
	"fmt"
	"image/color"

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

// Code 128 is drawn in whole dots of a label printer with 203 dots an inch: a
// bar is two dots wide at least, because narrower ones run together, and four at
// most (common practice, no source).
const (
	dot        = 25.4 / 203
	leastDots  = 2
	mostDots   = 4
	leastBarMM = leastDots * dot
)

// dark says whether a module of a code is black.
func dark(c barcode.Barcode, x, y int) bool {
	return color.Gray16Model.Convert(c.At(x, y)).(color.Gray16).Y < 0x8000
}

// square draws a QR code with its quiet zone into a square. Level M corrects 15 %.
func (s *sheet) square(x, y, side float64, text string) error {
	c, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		return fmt.Errorf("QR code of %q: %w", text, err)
	}
	n := c.Bounds().Dx()
	m := side / float64(n+2*quietQR)
	s.f.SetFillColor(0, 0, 0)
	for row := range n {
		for col := 0; col < n; {
			run := 0
			for col+run < n && dark(c, col+run, row) {
				run++
			}
			if run > 0 {
				s.f.Rect(x+float64(col+quietQR)*m, y+float64(row+quietQR)*m, float64(run)*m, m, "F")
			}
			col += max(1, run)
		}
	}
	return nil
}

// bars draws a Code 128 with its quiet zones, in the middle of a width, and says
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
		return false
	}
	n := c.Bounds().Dx()
	modules := float64(n + 2*quiet128)
	dots := min(mostDots, int(width/modules/dot))
	if dots < leastDots {
		return false
	}
	m := float64(dots) * dot
	x += (width-modules*m)/2 + quiet128*m
	s.f.SetFillColor(0, 0, 0)
	for col := 0; col < n; {
		run := 0
		for col+run < n && dark(c, col+run, 0) {
			run++
		}
		if run > 0 {
			s.f.Rect(x+float64(col)*m, y, float64(run)*m, high, "F")
		}
		col += max(1, run)
	}
	return true
}
