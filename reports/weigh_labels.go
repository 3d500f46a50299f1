package reports

import "math"

// labelBox is an upright box of a figure.
type labelBox struct{ left, upper, right, lower float64 }

func (a labelBox) meets(b labelBox) bool {
	return a.left < b.right && b.left < a.right && a.upper < b.lower && b.upper < a.lower
}

// labelPlacer finds places for names beside marks all over a picture, so that no name lies on another or on a mark; placeLabels knows only lanes over
// a graph.
type labelPlacer struct {
	bounds labelBox
	marks  []labelBox
	placed []placedLabel
}

type placedLabel struct {
	box         labelBox
	mark        plotPoint
	shown, full string
	size        float64
}

func newLabelPlacer(left, upper, right, lower float64) *labelPlacer {
	return &labelPlacer{bounds: labelBox{left, upper, right, lower}}
}

// keepFree holds the neighbourhood of a mark free of names.
func (l *labelPlacer) keepFree(at plotPoint, reach float64) {
	l.marks = append(l.marks, around(at, reach))
}

func around(at plotPoint, reach float64) labelBox {
	return labelBox{at.x - reach, at.y - reach, at.x + reach, at.y + reach}
}

// place finds the nearest free place for a name: beside its mark, then over and under it, row by row. It returns false where there is none.
func (l *labelPlacer) place(mark plotPoint, shown, full string, size float64) bool {
	const reach, rows = 13.0, 8
	width, height := textWidth(shown, size)+4, size+3
	for row := range rows {
		var uppers []float64
		if row == 0 {
			uppers = []float64{mark.y - height/2}
		} else {
			rise := 4 + float64(row)*height
			uppers = []float64{mark.y - rise - height/2, mark.y + rise - height/2}
		}
		for _, upper := range uppers {
			for _, left := range []float64{mark.x + reach, mark.x - reach - width, mark.x - width/2, mark.x - width/4, mark.x - 3*width/4} {
				left = math.Max(l.bounds.left, math.Min(left, l.bounds.right-width))
				box := labelBox{left, upper, left + width, upper + height}
				if label := (placedLabel{box, mark, shown, full, size}); l.free(box) && !l.crossed(label) {
					l.placed = append(l.placed, label)
					for _, at := range label.leader() {
						l.keepFree(at, 1)
					}
					return true
				}
			}
		}
	}
	return false
}

func (l *labelPlacer) free(box labelBox) bool {
	b := l.bounds
	if box.left < b.left || box.right > b.right || box.upper < b.upper || box.lower > b.lower {
		return false
	}
	for _, m := range l.marks {
		if box.meets(m) {
			return false
		}
	}
	for _, p := range l.placed {
		if box.meets(p.box) {
			return false
		}
	}
	return true
}

// leader returns places along the way from the name's box to its mark; none where the name stands beside the mark.
func (p placedLabel) leader() []plotPoint {
	const pieces = 8
	b := p.box
	if p.mark.y >= b.upper-4 && p.mark.y <= b.lower+4 {
		return nil
	}
	from := plotPoint{math.Max(b.left, math.Min(p.mark.x, b.right)), b.lower}
	if p.mark.y < b.upper {
		from.y = b.upper
	}
	var out []plotPoint
	for i := range pieces + 1 {
		f := float64(i) / pieces
		out = append(out, plotPoint{from.x + f*(p.mark.x-from.x), from.y + f*(p.mark.y-from.y)})
	}
	return out
}

// crossed tells whether a name's leader would run over another name or over a mark that does not touch its own.
func (l *labelPlacer) crossed(label placedLabel) bool {
	for _, at := range label.leader() {
		for _, p := range l.placed {
			if p.box.meets(around(at, 1)) {
				return true
			}
		}
		for _, m := range l.marks {
			if m.meets(around(at, 1)) && !m.meets(around(label.mark, 4)) {
				return true
			}
		}
	}
	return false
}

// draw writes the names, with a leader to each mark that its name does not stand beside.
func (l *labelPlacer) draw(c *canvas) {
	for _, p := range l.placed {
		if way := p.leader(); len(way) > 0 {
			from, to := way[0], way[len(way)-1]
			leader := "M" + coord(from.x) + " " + coord(from.y) + "L" + coord(to.x) + " " + coord(to.y)
			c.path("halo thin", leader)
			c.path("leader", leader)
		}
	}
	for _, p := range l.placed {
		class := "label"
		if p.size < figureTextSize {
			class = "label small"
		}
		x, anchor := p.box.left+2, "start"
		if p.box.right < p.mark.x {
			x, anchor = p.box.right-2, "end" // widths are estimates, rather too wide
		}
		c.text(x, p.box.lower-4, class, anchor, isolated(p.shown), isolated(p.full))
	}
}
