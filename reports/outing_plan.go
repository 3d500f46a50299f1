package reports

import (
	"fmt"
	"math"

	"farstation/geodesy"
	"farstation/pipeline"
)

// sheetPlan is a plan about the stand, north up.
type sheetPlan struct {
	x0, y0, perM float64
}

// at is the drawing's place of a distance and azimuth from the stand.
func (p sheetPlan) at(distanceM, azimuthDeg float64) plotPoint {
	sin, cos := math.Sincos(azimuthDeg * math.Pi / 180)
	return plotPoint{p.x0 + distanceM*sin*p.perM, p.y0 - distanceM*cos*p.perM}
}

// outingPlan draws the places to stand from above; nil where only the stand itself is known.
func outingPlan(o *pipeline.Outing) ([]byte, error) {
	s := &o.Stand
	var arcs []geodesy.Arc
	stand := geodesy.LatLon{LatDeg: s.LatitudeDeg, LonDeg: s.LongitudeDeg}
	reachM := 0.0
	for _, place := range s.Strip {
		arc := geodesy.WGS84.Inverse(stand, geodesy.LatLon{LatDeg: place.LatitudeDeg, LonDeg: place.LongitudeDeg})
		arcs = append(arcs, arc)
		reachM = math.Max(reachM, arc.DistanceM)
	}
	for _, asideM := range []*float64{s.LostLeftM, s.LostRightM} {
		if asideM != nil {
			reachM = math.Max(reachM, math.Abs(*asideM))
		}
	}
	if !(reachM > 0) || math.IsInf(reachM, 1) {
		return nil, nil
	}
	const size, top = 184.0, 18.0
	p := sheetPlan{size / 2, top + size/2, size / 2 / (1.15 * reachM)}
	c := &canvas{id: "sheet-plan"}
	c.text(size/2, top-6, "axis", "middle", "north ↑", "")
	closing := c.clip(0, top, size, size)
	towards := p.at(1.1*reachM, o.Line.AzimuthDeg)
	c.path("ray", fmt.Sprintf("M%s %sL%s %s", coord(p.x0), coord(p.y0), coord(towards.x), coord(towards.y)))
	// The arrow's head, 14 units long.
	for _, turn := range []float64{155, -155} {
		side := p.at(14/p.perM, o.Line.AzimuthDeg+turn)
		c.path("ray", fmt.Sprintf("M%s %sl%s %s", coord(towards.x), coord(towards.y), coord(side.x-p.x0), coord(side.y-p.y0)))
	}
	for i, side := range []*float64{s.LostLeftM, s.LostRightM} {
		if side == nil {
			continue
		}
		azimuthDeg := o.Line.AzimuthDeg + float64(2*i-1)*90
		end := p.at(*side, azimuthDeg)
		tick := p.at(7/p.perM, o.Line.AzimuthDeg)
		dx, dy := tick.x-p.x0, tick.y-p.y0
		c.path("whisker", fmt.Sprintf("M%s %sL%s %sm%s %sl%s %s", coord(p.x0), coord(p.y0), coord(end.x), coord(end.y), coord(dx), coord(dy), coord(-2*dx), coord(-2*dy)))
	}
	for _, arc := range arcs {
		at := p.at(arc.DistanceM, arc.AzimuthDeg)
		c.mark(markFoot, at.x, at.y)
	}
	if right := s.InLineRightM; right != nil && math.Abs(*right) <= 1.1*reachM {
		at := p.at(*right, o.Line.AzimuthDeg+90)
		c.mark(markGrazing, at.x, at.y)
	}
	c.mark(markEnd, p.x0, p.y0)
	c.WriteString(closing)
	c.box(0, top, size, size)
	bar := roundTicks(0, reachM, 3)
	barM := bar[min(1, len(bar)-1)]
	c.path("whisker", fmt.Sprintf("M6 %sv8m0-4h%sm0-4v8", coord(top+size-14), coord(barM*p.perM)))
	c.text(barM*p.perM+12, top+size-6, "label", "start", metres(barM), "")

	y := top + 12
	for _, words := range planWords(o, arcs) {
		c.text(size+24, y, "", "start", words, "")
		y += figureLane
	}
	items := []legendItem{{mark: markEnd, words: "the stand"}, {line: "ray", words: "towards the target"}}
	if len(arcs) > 0 {
		items = append(items, legendItem{mark: markFoot, words: "serves too"})
	}
	if s.LostLeftM != nil || s.LostRightM != nil {
		items = append(items, legendItem{line: "whisker", words: "aside, until alignment is lost"})
	}
	if s.InLineRightM != nil {
		items = append(items, legendItem{mark: markGrazing, words: "tops exactly in line"})
	}
	c.legend(items, size+24, figureWidth, y+figureLane)
	return c.svg(FigureOptions{Inline: true}, top+size+4, "Plan of where to stand", fmt.Sprintf("North up, %s across. %d places about the stand serve too.", metres(2.3*reachM), len(arcs)))
}

// planWords are the numbers beside the plan.
func planWords(o *pipeline.Outing, arcs []geodesy.Arc) []string {
	s := &o.Stand
	var words []string
	if len(arcs) > 0 {
		farthest := 0.0
		for _, arc := range arcs {
			farthest = math.Max(farthest, arc.DistanceM)
		}
		words = append(words, fmt.Sprintf("%s within %s of the stand line the tops up", plural(len(arcs), "place", "places"), metres(math.Ceil(farthest))), "and have the far one in view.")
	}
	if s.LostLeftM != nil && s.LostRightM != nil {
		words = append(words, "Square to the line: "+metres(*s.LostLeftM)+" to the left, "+metres(*s.LostRightM)+" to the right.")
	}
	if s.AsideMPerArcmin != nil {
		words = append(words, "Each "+decimals(math.Abs(*s.AsideMPerArcmin), 1)+"\u00a0m aside turn the tops by 1′;", "going right, the near top moves left of the far one.")
	}
	return words
}
