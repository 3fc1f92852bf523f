package study

import (
	"fmt"
	"math"
	"strings"
)

// The plot, in pixels: three panels beside each other with a common scale.
const (
	plotWidth, plotHeight = 1000, 520
	panelTop, panelBottom = 110.0, 440.0
	panelWidth, panelGap  = 260.0, 52.0
	dodge                 = 12.0        // from mark to mark, so that equal costs stay visible
	lowest, highest       = 0.1, 1000.0 // cost, logarithmic
)

// curve is how a policy is drawn: its colour, dashes and mark.
type curve struct{ policy, text, colour, dashes, mark string }

var curves = []curve{
	{Leave, "leave it alone", "#000000", "2 4", "cross"},
	{Whole, "whole error", "#000000", "10 5", "square"},
	{Harmonic, "harmonic rule", "#666666", "", "ring"},
	{Ratio(3).Aimed(Learned), "ours, learned, aim 3:1", "#1b4f8a", "", "disc"},
}

// plot draws the cost over the spread of the set-ups.
func plot(t Table) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %[1]d %[2]d" font-family="Helvetica, Arial, sans-serif" font-size="14" fill="#000000">
<title>Cost of 100 good pieces over the spread of the set-ups</title>
<rect width="100%%" height="100%%" fill="#ffffff"/>
<text x="70" y="28" font-size="17" font-weight="bold">What 100 good pieces cost, in second strokes (scrap costs 3)</text>
`, plotWidth, plotHeight)
	for i, c := range curves {
		x := 70 + 225*float64(i)
		line(&b, c, []point{{x, 56}, {x + 40, 56}})
		mark(&b, c, point{x + 20, 56})
		fmt.Fprintf(&b, `<text x="%.1f" y="61">%s</text>`+"\n", x+48, c.text)
	}
	for i, p := range []struct {
		noise, own float64
		text       string
	}{{1, 0, "noise 1, new with each stroke"}, {2, 0, "noise 2, new with each stroke"}, {2, 1, "noise 2, all the piece's own"}} {
		panel(&b, t, 85+float64(i)*(panelWidth+panelGap), p.noise, p.own, p.text)
	}
	fmt.Fprintf(&b, `<text x="%d" y="490" text-anchor="middle">spread of the offset from set-up to set-up, standard deviation, counts</text>
<text x="%[1]d" y="510" text-anchor="middle" font-size="12">Limits 5 counts either way, drift 0.1 a stroke, 20 pieces a set-up. Bars: two standard errors. Marks stand side by side. Lowest line: 0.1 or less.</text>
<text transform="translate(28 275) rotate(-90)" text-anchor="middle">second strokes per 100 good pieces</text>
</svg>
`, plotWidth/2)
	return b.String()
}

type point struct{ x, y float64 }

// height is where a cost lies.
func height(cost float64) float64 {
	share := math.Log(max(cost, lowest)/lowest) / math.Log(highest/lowest)
	return panelBottom - float64(share*(panelBottom-panelTop))
}

func panel(b *strings.Builder, t Table, left, noise, own float64, text string) {
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" font-weight="bold">%s</text>`+"\n", left, panelTop-12, text)
	for cost := lowest; cost <= highest*1.01; cost *= 10 {
		y := height(cost)
		fmt.Fprintf(b, `<path d="M%.1f %.1fh%.1f" stroke="#cccccc" fill="none"/>`+"\n", left, y, panelWidth)
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="end">%.4g</text>`+"\n", left-8, y+5, cost)
	}
	spreads := []float64{0, 1, 3, 10}
	at := func(i int) float64 { return left + 40 + float64(i)*(panelWidth-80)/float64(len(spreads)-1) }
	for i, s := range spreads {
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="middle">%g</text>`+"\n", at(i), panelBottom+22, s)
	}
	for k, c := range curves {
		var points []point
		for i, s := range spreads {
			f := t.find(plain(s, noise, own), c.policy).cost(3)
			x := at(i) + float64(dodge*(float64(k)-float64(len(curves)-1)/2))
			points = append(points, point{x, height(f.Value)})
			fmt.Fprintf(b, `<path d="M%.1f %.1fV%.1f" stroke="%s" fill="none"/>`+"\n",
				x, height(f.Value-2*f.SE), height(f.Value+2*f.SE), c.colour)
		}
		line(b, c, points)
		for _, p := range points {
			mark(b, c, p)
		}
	}
}

func line(b *strings.Builder, c curve, points []point) {
	b.WriteString(`<polyline points="`)
	for i, p := range points {
		if i > 0 {
			b.WriteByte(' ')
		}
		fmt.Fprintf(b, "%.1f,%.1f", p.x, p.y)
	}
	fmt.Fprintf(b, `" fill="none" stroke="%s" stroke-width="2"`, c.colour)
	if c.dashes != "" {
		fmt.Fprintf(b, ` stroke-dasharray="%s"`, c.dashes)
	}
	b.WriteString("/>\n")
}

func mark(b *strings.Builder, c curve, p point) {
	switch c.mark {
	case "cross":
		fmt.Fprintf(b, `<path d="M%.1f %.1fl10 10m0 -10l-10 10" stroke="%s" stroke-width="2" fill="none"/>`+"\n", p.x-5, p.y-5, c.colour)
	case "square":
		fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="10" height="10" fill="#ffffff" stroke="%s" stroke-width="2"/>`+"\n", p.x-5, p.y-5, c.colour)
	case "ring":
		fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="5.5" fill="#ffffff" stroke="%s" stroke-width="2"/>`+"\n", p.x, p.y, c.colour)
	default:
		fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="5.5" fill="%s"/>`+"\n", p.x, p.y, c.colour)
	}
}
