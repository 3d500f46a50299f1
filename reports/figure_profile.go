package reports

import (
	"fmt"
	"math"
	"strings"

	"farstation/pipeline"
)

// ProfileFigure draws the ground along a sightline under both models, as SVG: above the curved one, below the plane, on the same
// horizontal and the same vertical scale, and under them the curved one again as a strip at true scale, unless the panels hardly
// exaggerate. It draws what the row and the profile hold and decides nothing. The profile must begin at the observer, reach the
// target and go outwards.
//
// In the curved panel heights stand over the straight line between the sea levels of both ends: at distance x of s the sea lies
// x(s−x)/(2R) over it (and by as much as the geoid departs from a straight line between its two ends), ground lies on the sea, and
// a ray of refraction coefficient k lies k·x(s−x)/(2R) over the straight line from eye to top. The lift is good to 0.001 in k.
func ProfileFigure(line *pipeline.Sightline, profile *pipeline.Profile, opts FigureOptions) ([]byte, error) {
	if err := opts.check(line); err != nil {
		return nil, err
	}
	p, err := newProfilePlot(line, profile, opts)
	if err != nil {
		return nil, fmt.Errorf("figure %s to %s: %w", line.ObserverID, line.TargetID, err)
	}
	c := &canvas{id: opts.idOr("profile")}
	observer, target := isolated(fitted(line.ObserverName, 230, 14)), isolated(fitted(line.TargetName, 230, 14))
	c.text(0, 16, "head", "start", fmt.Sprintf("From %s to %s: %s km, azimuth %s°", observer, target,
		decimals(line.DistanceM/1000, 1), decimals(line.AzimuthDeg, 1)), isolated(line.ObserverName)+" to "+isolated(line.TargetName))
	y := p.panel(c, 42, true)
	y = p.panel(c, y+20, false)
	c.text((plotLeft+plotRight)/2, y+2, "axis", "middle", "distance from the observer, km", "")
	y = c.legend(p.legend(), 0, figureWidth, y+28)
	c.text(0, y, "note", "start", p.exaggerationWords(), "")
	y += 17
	c.text(0, y, "note", "start", "Curved panel: heights over the straight line joining the sea levels of both ends. Height axis in metres.", "")
	if p.exaggeration() >= stripLeast {
		y = p.trueScale(c, y+26) - 17
	}
	title := fmt.Sprintf("Profile from %s to %s under the curved and the plane model", isolated(line.ObserverName), isolated(line.TargetName))
	return c.svg(opts, y+10, title, p.describe())
}

func (o FigureOptions) idOr(kind string) string {
	if o.ID == "" {
		return kind
	}
	return o.ID + "-" + kind
}

const (
	plotLeft   = 50.0
	plotRight  = figureWidth - 6
	plotHeight = 190.0
)

// profilePlot holds one line's ground and the scales that both panels share.
type profilePlot struct {
	line    *pipeline.Sightline
	samples []pipeline.ProfileSample
	k, low, high,
	startUndulationM, endUndulationM,
	lastM, // distance of the last sample
	minM, maxM float64 // heights in the plot
	// also are further tops on the way, each with a ray of its own.
	also []profileTop
}

// profileTop is a top between the ends of a profile; its height is over the geoid.
type profileTop struct {
	name               string
	distanceM, heightM float64
}

func newProfilePlot(line *pipeline.Sightline, profile *pipeline.Profile, opts FigureOptions) (*profilePlot, error) {
	if profile == nil || len(profile.Samples) < 2 {
		return nil, fmt.Errorf("the profile has fewer than two samples: nothing to draw")
	}
	p := &profilePlot{line: line, samples: profile.Samples, k: opts.K, low: opts.K - 2*opts.KSD, high: opts.K + 2*opts.KSD}
	before := -1.0
	for i, s := range p.samples {
		if !allFinite(s.DistanceM, s.GroundM, s.UndulationM) || s.DistanceM <= before {
			return nil, fmt.Errorf("profile sample %d (distance %v m, ground %v m, undulation %v m): values must be finite and distances rise from 0",
				i, s.DistanceM, s.GroundM, s.UndulationM)
		}
		before = s.DistanceM
	}
	p.lastM = before
	if first := p.samples[0].DistanceM; first > 1 || p.lastM < line.DistanceM-1 {
		return nil, fmt.Errorf("the profile runs from %.0f to %.0f m and must cover 0 to %.0f m", first, p.lastM, line.DistanceM)
	}
	p.startUndulationM = p.samples[0].UndulationM
	_, p.endUndulationM = p.at(line.DistanceM)
	p.minM, p.maxM = 0, 0
	hold := func(h float64) { p.minM, p.maxM = math.Min(p.minM, h), math.Max(p.maxM, h) }
	for _, s := range p.samples {
		lift := p.seaM(s)
		hold(s.GroundM)
		hold(s.GroundM + lift)
		hold(lift)
		if s.DistanceM <= line.DistanceM {
			hold(p.rayM(s.DistanceM, p.low))
			hold(p.rayM(s.DistanceM, p.high))
		}
	}
	span := math.Max(p.maxM-p.minM, 10)
	p.minM -= 0.05 * span
	p.maxM += 0.05 * span
	return p, nil
}

// at returns ground and undulation at distance x, linear between samples.
func (p *profilePlot) at(x float64) (groundM, undulationM float64) {
	lo, hi := 0, len(p.samples)-1
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; p.samples[mid].DistanceM <= x {
			lo = mid
		} else {
			hi = mid
		}
	}
	a, b := p.samples[lo], p.samples[hi]
	f := math.Max(0, math.Min(1, (x-a.DistanceM)/(b.DistanceM-a.DistanceM)))
	return a.GroundM + f*(b.GroundM-a.GroundM), a.UndulationM + f*(b.UndulationM-a.UndulationM)
}

// bulgeM is the height of a smooth sea over the chord between two places endM apart, at x from one of them.
func (p *profilePlot) bulgeM(x, endM float64) float64 { return x * (endM - x) / (2 * p.line.RadiusM) }

// seaM is the sea's height in the curved panel.
func (p *profilePlot) seaM(s pipeline.ProfileSample) float64 {
	straight := p.startUndulationM + (p.endUndulationM-p.startUndulationM)*s.DistanceM/p.line.DistanceM
	return s.UndulationM - straight + p.bulgeM(s.DistanceM, p.line.DistanceM)
}

// plottedM is the height at which ground or another height over the sea stands in a panel.
func (p *profilePlot) plottedM(x, heightM float64, curved bool) float64 {
	if !curved {
		return heightM
	}
	_, undulation := p.at(x)
	return heightM + p.seaM(pipeline.ProfileSample{DistanceM: x, UndulationM: undulation})
}

// groundAt is the height of the ground in a panel.
func (p *profilePlot) groundAt(x float64, curved bool) float64 {
	ground, _ := p.at(x)
	return p.plottedM(x, ground, curved)
}

// rayM is the height of the ray from eye to top in the curved panel.
func (p *profilePlot) rayM(x, k float64) float64 {
	return p.line.EyeHeightM + (p.line.TopHeightM-p.line.EyeHeightM)*x/p.line.DistanceM + k*p.bulgeM(x, p.line.DistanceM)
}

func (p *profilePlot) x(distanceM float64) float64 {
	return plotLeft + (plotRight-plotLeft)*distanceM/p.lastM
}

func (p *profilePlot) exaggeration() float64 {
	return (plotHeight / (p.maxM - p.minM)) / ((plotRight - plotLeft) / p.lastM)
}

// panel draws one model with its heading's baseline at top and returns the y under its axis.
func (p *profilePlot) panel(c *canvas, top float64, curved bool) float64 {
	heading := "Plane: flat datum, light straight"
	if curved {
		heading = "Curved: the sea rises between the ends, light bends"
	}
	c.text(0, top, "panel", "start", heading, "")
	labels, marks := p.marks(curved)
	lanes := placeLabels(labels, 0, figureWidth)
	plotTop := top + 11 + figureLane*float64(lanes)
	y := func(heightM float64) float64 { return plotTop + plotHeight*(p.maxM-heightM)/(p.maxM-p.minM) }
	bottom := plotTop + plotHeight

	for _, t := range roundTicks(p.minM, p.maxM, 6) {
		c.path("grid", fmt.Sprintf("M%s %sH%s", coord(plotLeft), coord(y(t)), coord(plotRight)))
		c.text(plotLeft-5, y(t)+4, "axis", "end", tickText(t), "")
	}
	// The ray over a front close by can rise far out of the panel.
	clip := c.clip(plotLeft, plotTop, plotRight-plotLeft+2, plotHeight) // a structure may stand on the right edge
	p.ground(c, y, bottom, curved)
	p.gaps(c, plotTop, bottom)
	p.rays(c, y, curved)
	c.WriteString(clip)
	c.path("frame", fmt.Sprintf("M%s %sH%s", coord(plotLeft), coord(bottom), coord(plotRight)))
	for _, t := range roundTicks(0, p.lastM/1000, 8) {
		c.path("frame", fmt.Sprintf("M%s %sv4", coord(p.x(1000*t)), coord(bottom)))
		c.text(p.x(1000*t), bottom+16, "axis", "middle", tickText(t), "")
	}
	for i, l := range labels {
		base := plotTop - 9 - figureLane*float64(l.lane)
		c.path("leader", fmt.Sprintf("M%s %sV%s", coord(l.x), coord(base+4), coord(y(l.y)-6)))
		at, anchor := l.anchored()
		c.text(at, base, "label", anchor, l.shown, l.full)
		c.mark(marks[i], l.x, y(l.y))
	}
	return bottom + 30
}

// ground draws the body of the Earth up to the sea level, the land upon it, and the stretch that is out of view.
func (p *profilePlot) ground(c *canvas, y func(float64) float64, bottom float64, curved bool) {
	sea := func(s pipeline.ProfileSample) float64 {
		if curved {
			return p.seaM(s)
		}
		return 0
	}
	land := p.trace(0, p.lastM, y, func(s pipeline.ProfileSample) float64 { return s.GroundM + sea(s) })
	level := p.trace(0, p.lastM, y, sea)
	down := fmt.Sprintf("L%s %sL%s %sz", coord(plotRight), coord(bottom), coord(plotLeft), coord(bottom))
	c.path("land", land+down)
	c.path("body", level+down)
	c.path("sea", level)
	if s := p.line.DistanceM; p.plottedM(s, p.line.TopHeightM, curved) > p.groundAt(s, curved) {
		c.path("structure", fmt.Sprintf("M%s %sV%s", coord(p.x(s)), coord(y(p.groundAt(s, curved))), coord(y(p.plottedM(s, p.line.TopHeightM, curved)))))
	}
	if throughM, throughHeightM, endM, ok := p.lowestRay(); ok && curved {
		frontM := *p.line.FrontDistanceM
		ground := p.trace(frontM, endM, y, func(s pipeline.ProfileSample) float64 { return s.GroundM + sea(s) })
		back := strings.Replace(p.arc(endM, frontM, throughM, throughHeightM, p.k, y), "M", "L", 1)
		fmt.Fprintf(c, `<path class="hatched" style="fill:url(#%s-hatch)" d="%s%sz"/>`, c.id, ground, back)
	}
}

// lowestRay is the lowest light that passes the front, given by a point on it: the foot in view, or the front itself where the
// target is out of view. It ends at the foot or over the target.
func (p *profilePlot) lowestRay() (throughM, plottedM, endM float64, ok bool) {
	if p.line.FrontDistanceM == nil || !(*p.line.FrontDistanceM > 0) || *p.line.FrontDistanceM >= p.line.DistanceM {
		return 0, 0, 0, false
	}
	if x, h, ok := p.foot(); ok {
		return x, p.plottedM(x, h, true), x, true
	}
	x := *p.line.FrontDistanceM
	ground, _ := p.at(x)
	return x, p.plottedM(x, ground, true), p.line.DistanceM, true
}

// arc is the path of a ray from the eye through a plotted height at throughM, drawn from one distance to another.
func (p *profilePlot) arc(fromM, toM, throughM, plottedM, k float64, y func(float64) float64) string {
	const pieces = 64
	var points []plotPoint
	for i := range pieces + 1 {
		x := fromM + (toM-fromM)*float64(i)/pieces
		h := p.line.EyeHeightM + (plottedM-p.line.EyeHeightM)*x/throughM + k*p.bulgeM(x, throughM)
		points = append(points, plotPoint{p.x(x), y(h)})
	}
	return pathThrough(thinned(points, 0.05))
}

// trace is the path of a height along the line, drawn true to a quarter of a unit: of each unit of distance the least and the
// greatest height stay, and what lies on a straight line between its neighbours goes.
func (p *profilePlot) trace(fromM, toM float64, y func(float64) float64, height func(pipeline.ProfileSample) float64) string {
	var points []plotPoint
	place := func(i int) plotPoint {
		return plotPoint{p.x(p.samples[i].DistanceM), y(height(p.samples[i]))}
	}
	for i := 0; i < len(p.samples); {
		if d := p.samples[i].DistanceM; d < fromM || d > toM {
			i++
			continue
		}
		end, lowest, highest := i+1, i, i
		for end < len(p.samples) && p.samples[end].DistanceM <= toM && p.x(p.samples[end].DistanceM) < p.x(p.samples[i].DistanceM)+1 {
			if height(p.samples[end]) < height(p.samples[lowest]) {
				lowest = end
			}
			if height(p.samples[end]) > height(p.samples[highest]) {
				highest = end
			}
			end++
		}
		points = append(points, place(min(lowest, highest)))
		if lowest != highest {
			points = append(points, place(max(lowest, highest)))
		}
		i = end
	}
	return pathThrough(thinned(points, 0.25))
}

// gaps hatches the stretches where terrain is missing.
func (p *profilePlot) gaps(c *canvas, top, bottom float64) {
	for i := 0; i < len(p.samples); i++ {
		if !p.samples[i].Missing {
			continue
		}
		j := i
		for j+1 < len(p.samples) && p.samples[j+1].Missing {
			j++
		}
		left := p.x(p.samples[max(i-1, 0)].DistanceM)
		right := p.x(p.samples[min(j+1, len(p.samples)-1)].DistanceM)
		c.crossed(left, top, math.Max(right-left, 2), bottom-top)
		i = j
	}
}

func (p *profilePlot) rays(c *canvas, y func(float64) float64, curved bool) {
	s, top := p.line.DistanceM, p.line.TopHeightM
	for _, t := range p.also {
		plotted := p.plottedM(t.distanceM, t.heightM, curved)
		if ground := p.groundAt(t.distanceM, curved); plotted > ground {
			c.path("structure", fmt.Sprintf("M%s %sV%s", coord(p.x(t.distanceM)), coord(y(ground)), coord(y(plotted))))
		}
		// The ray goes on past the top, so that it shows on which side of it the far top stands.
		if curved {
			c.path("ray thin", p.arc(0, s, t.distanceM, plotted, p.k, y))
		} else {
			c.path("ray-plane thin", p.arc(0, s, t.distanceM, plotted, 0, y))
		}
	}
	if !curved {
		c.path("ray-plane", fmt.Sprintf("M%s %sL%s %s", coord(p.x(0)), coord(y(p.line.EyeHeightM)), coord(p.x(s)), coord(y(top))))
		return
	}
	c.path("ray-low", p.arc(0, s, s, top, p.low, y))
	c.path("ray-high", p.arc(0, s, s, top, p.high, y))
	c.path("ray", p.arc(0, s, s, top, p.k, y))
	if throughM, plottedM, endM, ok := p.lowestRay(); ok {
		c.path("ray-cut", p.arc(0, endM, throughM, plottedM, p.k, y))
	}
}

// foot returns distance and height of the foot in view.
func (p *profilePlot) foot() (distanceM, heightM float64, ok bool) {
	if p.line.FootDistanceM == nil || p.line.ObscuredHeightM == nil || !(*p.line.FootDistanceM > 0) {
		return 0, 0, false
	}
	return *p.line.FootDistanceM, *p.line.ObscuredHeightM, true
}
