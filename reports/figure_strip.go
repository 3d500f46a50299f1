package reports

import (
	"fmt"
	"math"
	"strings"

	"farstation/pipeline"
)

// stripLeast is the exaggeration from which on the panels need a strip at true scale beside them; it also keeps the strip lower than
// half a panel.
const stripLeast = 2.0

// sagittaM is the height of a smooth sea, half-way, over the straight line between the sea levels of both ends: s²/(8R).
func (p *profilePlot) sagittaM() float64 { return p.bulgeM(p.line.DistanceM/2, p.line.DistanceM) }

// sagittaArcmin is the angle over that straight line at which an end would see the sagitta, half the line away: s/(4R).
func (p *profilePlot) sagittaArcmin() float64 {
	return arcminPerRad * p.line.DistanceM / (4 * p.line.RadiusM)
}

// trueScale draws the curved panel again with heights on the scale of the distances. Its heading's baseline is at top; it returns
// the y under its notes.
func (p *profilePlot) trueScale(c *canvas, top float64) float64 {
	c.text(0, top, "panel", "start", fmt.Sprintf("The same at true scale: the curve’s sagitta is %s over %s", metres(p.sagittaM()), kilometres(p.line.DistanceM)), "")
	unitsPerM := (plotRight - plotLeft) / p.lastM
	plotTop := top + 10
	y := func(heightM float64) float64 { return plotTop + unitsPerM*(p.maxM-heightM) }
	// Some units of ground under the lowest height keep the arc visible however flat it is.
	bottom := y(p.minM) + 4

	sea := p.seaM
	down := fmt.Sprintf("L%s %sL%s %sz", coord(plotRight), coord(bottom), coord(plotLeft), coord(bottom))
	level := p.trace(0, p.lastM, y, sea)
	c.path("land thin", p.trace(0, p.lastM, y, func(s pipeline.ProfileSample) float64 { return s.GroundM + sea(s) })+down)
	c.path("body", level+down)
	c.path("sea thin", level)
	c.path("chord", fmt.Sprintf("M%s %sH%s", coord(plotLeft), coord(y(0)), coord(p.x(p.line.DistanceM))))
	s, height := p.line.DistanceM, p.line.TopHeightM
	if p.plottedM(s, height, true) > p.groundAt(s, true) {
		c.path("structure thin", fmt.Sprintf("M%s %sV%s", coord(p.x(s)), coord(y(p.groundAt(s, true))), coord(y(p.plottedM(s, height, true)))))
	}
	c.path("ray thin", p.arc(0, s, s, height, p.k, y))
	p.gaps(c, plotTop, bottom)

	at := bottom + 16
	for _, words := range p.trueScaleWords() {
		c.text(0, at, "note", "start", words, "")
		at += 17
	}
	return at
}

func (p *profilePlot) trueScaleWords() []string {
	return []string{
		"No exaggeration: 1 part in " + decimals(p.line.DistanceM/p.sagittaM(), 0) + ", so the arc hardly leaves the straight line (dotted) between the sea levels of both ends.",
		"Seen from an end, the middle of the arc would stand " + decimals(p.sagittaArcmin(), 1) + "′ over that line. Light is drawn at k = " + decimals(p.k, 3) + ".",
	}
}

// exaggerationWords states how many times as large as distances the panels draw heights, to two figures.
func (p *profilePlot) exaggerationWords() string {
	e := p.exaggeration()
	return "Both panels have the same scales. Heights are drawn about " + decimals(e, 1-int(math.Floor(math.Log10(e)))) + " times as large as distances."
}

func (p *profilePlot) describeTrueScale(b *strings.Builder) {
	if p.exaggeration() < stripLeast {
		return
	}
	fmt.Fprintf(b, " Below both, a strip at true scale: the sagitta is %s over %s. ", metres(p.sagittaM()), kilometres(p.line.DistanceM))
	b.WriteString(strings.Join(p.trueScaleWords(), " "))
}
