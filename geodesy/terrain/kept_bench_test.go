package terrain

import "testing"

// BenchmarkKept times what a survey asks of a line that it keeps, part by part, over grounds of three kinds; plain looks at every piece.
func BenchmarkKept(b *testing.B) {
	spreads := surveySpreads()
	five := []Model{{K: 0.143}, {Plane: true}, {K: 0.063}, {K: 0.223}, {}}
	for i, g := range realGrounds() {
		if i != 0 && i != 3 && i != 4 {
			continue
		}
		w := g.walker(b)
		next := g.lines(w, uint64(900+i))
		lines, sections := make([]Line, 0, 60), make([]*Section, 0, 60)
		for len(lines) < cap(lines) {
			l := next()
			if c, err := w.Critical(l, FillSea, 200, 0.343); err != nil || c.Stopped || l.DistanceM < 20e3 {
				continue
			}
			line := *l
			line.arcs = append([]arc(nil), l.arcs...)
			lines = append(lines, line)
			section, err := w.Section(&lines[len(lines)-1], FillSea, 200, nil)
			if err != nil {
				b.Fatal(err)
			}
			sections = append(sections, section)
		}
		pieces := 0
		for _, s := range sections {
			pieces += len(s.Pieces)
		}
		var into Section
		for _, part := range []struct {
			name string
			do   func(s *Section)
		}{
			{"section", func(s *Section) { _, _ = w.Section(s.Line, FillSea, 200, &into) }},
			{"views", func(s *Section) {
				for _, m := range five {
					s.View(m)
				}
			}},
			{"views, plainly", func(s *Section) {
				for _, m := range five {
					s.plainView(m)
				}
			}},
			{"margins", func(s *Section) { s.Margin(five[0]); s.Margin(five[1]) }},
			{"margins, plainly", func(s *Section) { s.plainMargin(five[0]); s.plainMargin(five[1]) }},
			{"odds", func(s *Section) { s.Odds(spreads) }},
			{"odds, plainly", func(s *Section) { s.plainOdds(spreads) }},
			{"backdrop", func(s *Section) { _, _ = w.Backdrop(s.Line, 0.143, 200, 4500) }},
			{"backdrop, plainly", func(s *Section) { _, _ = w.plainBackdrop(s.Line, 0.143, 200, 4500) }},
		} {
			b.Run(g.name+"/"+part.name, func(b *testing.B) {
				for n := 0; b.Loop(); n++ {
					part.do(sections[n%len(sections)])
				}
				b.ReportMetric(float64(pieces)/float64(len(sections)), "pieces/line")
			})
		}
	}
}
