package report

// mostPlate is how many pieces the picture on a paper shows.
const mostPlate = 120

// pictures sets the deviations of all pieces, or of the latest of them, what was
// dialled, and the offset of each cage. One piece shows no course.
func (c *certificate) pictures() {
	s := SeriesOfDossier(c.d).unlabelled()
	if len(s.Crimps) == 0 {
		return
	}
	c.plate(52, func(on plate, width, height float64) { deviations(on, width, height, s, mostPlate, c.w) })
	if len(s.firsts()) < 2 {
		return
	}
	c.plate(35, func(on plate, width, height float64) { settings(on, width, height, s, s.last(mostPlate), c.w) })
	for _, cage := range s.cages() {
		c.plate(35, func(on plate, width, height float64) {
			offsets(on, width, height, s.of(cage).firsts(), c.w.Say("%s, strokes from the order's first crimp on", cage), c.w)
		})
	}
}

// plate sets a picture as wide as the paper, and so many millimetres high.
func (c *certificate) plate(height float64, draw func(on plate, width, height float64)) {
	c.need(height + 6)
	c.y += 5
	scale := platePt * point / svgText
	out := edgeUnits * scale // so that its words begin where the others do
	draw(plate{c.sheet, margin - out, c.y, scale}, (c.inner()+2*out)/scale, height/scale)
	c.y += height
}
