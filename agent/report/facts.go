package report

// fact is something with its name.
type fact struct{ name, words string }

// large sets figures, large, each above its word.
func (s *sheet) large(all []fact, room float64) {
	step := room / float64(len(all))
	for i, f := range all {
		x := margin + float64(i)*step
		s.face(figurePt, true, black)
		s.put(x, s.y+5, s.fit(f.words, step-3))
		s.face(smallPt, false, soft)
		s.put(x, s.y+9, s.fit(f.name, step-3))
	}
	s.y += 10
}

// facts sets names and what they name in two columns.
func (s *sheet) facts(all []fact) {
	const names = 34.0
	half := s.inner() / 2
	for i := 0; i < len(all); i += 2 {
		lines := 0
		var cells [2][]string
		for j := range 2 {
			if i+j < len(all) {
				s.face(textPt, false, black)
				cells[j] = s.wrap(all[i+j].words, half-names-3)
				lines = max(lines, len(cells[j]), 1)
			}
		}
		s.need(float64(lines) * textLine)
		for j := range 2 {
			if i+j >= len(all) {
				continue
			}
			x := margin + float64(j)*half
			s.face(textPt, false, soft)
			s.put(x, s.y+textLine*0.75, s.fit(all[i+j].name, names-2))
			s.face(textPt, false, black)
			for k, line := range cells[j] {
				s.put(x+names, s.y+float64(k)*textLine+textLine*0.75, line)
			}
		}
		s.y += float64(lines) * textLine
	}
}
