package reports

import (
	"fmt"
	"math"

	"farstation/geodesy"
	"farstation/pipeline"
)

const arcminPerRad = 180 * 60 / math.Pi

// FrameFigure draws what a lens sees along the azimuth of a sightline under both models, side by side on one elevation scale in
// arc minutes, as SVG. Everything comes from the row: elevations of the base, of the foot in view and of the front are taken
// relative to that of the top, by the relation of geodesy.ApparentElevationRad on the sphere of the row's radius; widths mean
// nothing.
func FrameFigure(line *pipeline.Sightline, opts FigureOptions) ([]byte, error) {
	if err := opts.check(line); err != nil {
		return nil, err
	}
	views := []frameView{curvedView(line, opts), planeView(line)}
	unknown, cut := line.Verdict == pipeline.Undecided, false
	lo, hi := 0.0, 0.0 // the eye's horizontal always shows
	for i := range views {
		v := &views[i]
		if unknown {
			v.unknown, v.crest = true, nil
		}
		cut = cut || v.crest != nil
		for _, m := range v.levels() {
			if !allFinite(m.arcmin) {
				return nil, fmt.Errorf("figure %s to %s: %s of the %s model is not finite", line.ObserverID, line.TargetID, m.words, v.name)
			}
			lo, hi = math.Min(lo, m.arcmin), math.Max(hi, m.arcmin)
		}
	}
	margin := math.Max(0.07*(hi-lo), 0.5)
	scale := frameScale{lo: lo - margin, hi: hi + margin, top: 56, bottom: 56 + 240}

	c := &canvas{id: opts.idOr("frame")}
	target := isolated(fitted(line.TargetName, 260, 14))
	c.text(0, 16, "head", "start", "Expected frame: "+target+" along azimuth "+decimals(line.AzimuthDeg, 1)+"°", isolated(line.TargetName))
	for _, t := range roundTicks(scale.lo, scale.hi, 7) {
		c.path("grid", fmt.Sprintf("M%s %sH%s", coord(frameLeft), coord(scale.y(t)), coord(figureWidth)))
		c.text(frameLeft-6, scale.y(t)+4, "axis", "end", tickText(t)+"′", "")
	}
	width := (figureWidth - frameLeft) / 2
	for i, v := range views {
		v.draw(c, scale, frameLeft+float64(i)*width, width-12)
	}
	items := []legendItem{{fill: "face", words: "target in view"}}
	if unknown {
		items = []legendItem{{cross: true, words: "not known: terrain is missing"}}
	} else if cut {
		items = append(items, legendItem{hatch: true, words: "target cut off"}, legendItem{line: "crest", words: "ground that cuts off"})
	}
	items = append(items, legendItem{line: "level", words: "eye’s horizontal"})
	if line.DipArcmin != nil {
		items = append(items, legendItem{line: "sealine", words: "sea horizon"})
	}
	y := c.legend(items, 0, figureWidth, scale.bottom+26)
	c.text(0, y, "note", "start", "Elevations in arc minutes on one scale; widths mean nothing. The target stands as from its base height, at the target’s distance.", "")
	title := "Expected frame of " + isolated(line.TargetName) + " seen from " + isolated(line.ObserverName)
	return c.svg(opts, y+10, title, views[0].describe()+" "+views[1].describe())
}

const frameLeft = 50.0

type frameScale struct{ lo, hi, top, bottom float64 }

func (s frameScale) y(arcmin float64) float64 {
	return s.top + (s.bottom-s.top)*(s.hi-arcmin)/(s.hi-s.lo)
}

// frameView is what one model shows, as elevations in arc minutes.
type frameView struct {
	name      string
	top, base float64
	topSD     float64  // 0 where none is stated
	crest     *float64 // elevation up to which the target is cut off
	crestName string
	horizon   *float64
	unknown   bool // undecided: whether anything is cut off is not known
}

type frameLevel struct {
	arcmin float64
	words  string
}

// levels are the labelled elevations, target's top first.
func (v frameView) levels() []frameLevel {
	top := "top " + arcmin(v.top)
	if v.topSD > 0 {
		top = "top " + plusMinus(v.top, v.topSD, 1) + "′"
	}
	out := []frameLevel{{v.top, top}, {v.base, "base " + arcmin(v.base)}}
	if v.crest != nil {
		out = append(out, frameLevel{*v.crest, v.crestName + " " + arcmin(*v.crest)})
	}
	if v.horizon != nil {
		out = append(out, frameLevel{*v.horizon, "sea horizon " + arcmin(*v.horizon)})
	}
	return out
}

func curvedView(line *pipeline.Sightline, opts FigureOptions) frameView {
	top := line.ElevationDeg * 60
	from := func(heightM, distanceM float64) float64 {
		return top + arcminPerRad*(geodesy.ApparentElevationRad(line.EyeHeightM, heightM, distanceM, line.RadiusM, opts.K)-
			geodesy.ApparentElevationRad(line.EyeHeightM, line.TopHeightM, line.DistanceM, line.RadiusM, opts.K))
	}
	v := frameView{name: "Curved", top: top, topSD: line.ElevationSDArcmin, base: from(line.BaseHeightM, line.DistanceM)}
	v.crest, v.crestName = crest(line.MarginArcmin, top, line.ObscuredHeightM, line.FootDistanceM, line.DistanceM, from)
	if line.DipArcmin != nil {
		dip := -*line.DipArcmin
		v.horizon = &dip
	}
	return v
}

func planeView(line *pipeline.Sightline) frameView {
	top := line.ElevationPlaneDeg * 60
	from := func(heightM, distanceM float64) float64 {
		return top + arcminPerRad*(geodesy.PlaneElevationRad(line.EyeHeightM, heightM, distanceM)-
			geodesy.PlaneElevationRad(line.EyeHeightM, line.TopHeightM, line.DistanceM))
	}
	v := frameView{name: "Plane", top: top, base: from(line.BaseHeightM, line.DistanceM)}
	v.crest, v.crestName = crest(line.MarginPlaneArcmin, top, line.ObscuredHeightPlaneM, nil, line.DistanceM, from)
	if line.DipArcmin != nil {
		level := 0.0 // the plane's sea horizon lies at the horizontal
		v.horizon = &level
	}
	return v
}

// crest is the elevation up to which ground cuts off the target: over the top where the margin is negative, else that of the foot
// in view (at the target's distance where its own is not known); nil where nothing is cut off.
func crest(marginArcmin, top float64, obscuredM, footM *float64, distanceM float64, from func(heightM, distanceM float64) float64) (*float64, string) {
	if marginArcmin < 0 {
		level := top - marginArcmin
		return &level, "ground before it"
	}
	if obscuredM == nil {
		return nil, ""
	}
	if footM != nil && *footM > 0 {
		distanceM = *footM
	}
	level := from(*obscuredM, distanceM)
	return &level, "foot in view"
}

// draw draws one view with its left edge at x.
func (v frameView) draw(c *canvas, s frameScale, x, width float64) {
	heading := "Plane, light straight"
	if v.name == "Curved" {
		heading = "Curved, at nominal k"
	}
	c.text(x+8, s.top-14, "panel", "start", heading, "")
	const left, faceWidth = 26.0, 74.0
	face := x + left
	labelX := face + faceWidth + 44
	if v.horizon != nil {
		c.path("sealine", fmt.Sprintf("M%s %sH%s", coord(x+4), coord(s.y(*v.horizon)), coord(labelX-24)))
	}
	c.path("level", fmt.Sprintf("M%s %sH%s", coord(x+4), coord(s.y(0)), coord(labelX-24)))
	shownFrom := v.base // lowest elevation of the face that shows
	if v.crest != nil {
		shownFrom = math.Min(v.top, math.Max(v.base, *v.crest))
	}
	switch {
	case v.unknown:
		c.crossed(face, s.y(v.top), faceWidth, math.Max(0, s.y(v.base)-s.y(v.top)))
	case v.top > shownFrom:
		c.rect("face", face, s.y(v.top), faceWidth, s.y(shownFrom)-s.y(v.top))
	}
	if shownFrom > v.base {
		c.hatched(face, s.y(shownFrom), faceWidth, s.y(v.base)-s.y(shownFrom))
	}
	if v.crest != nil {
		c.path("crest", fmt.Sprintf("M%s %sH%s", coord(x+4), coord(s.y(*v.crest)), coord(labelX-24)))
	}
	if v.topSD > 0 {
		at := face + faceWidth + 9
		c.path("whisker", fmt.Sprintf("M%s %sh8m-4 0V%sm-4 0h8", coord(at-4), coord(s.y(v.top+2*v.topSD)), coord(s.y(v.top-2*v.topSD))))
	}
	c.path("frame", fmt.Sprintf("M%s %sV%sH%s", coord(x), coord(s.top), coord(s.bottom), coord(x+width)))

	levels := v.levels()
	ys := make([]float64, len(levels))
	for i, l := range levels {
		ys[i] = s.y(l.arcmin)
	}
	for i, at := range spreadApart(ys, 16, s.top+6, s.bottom-9) {
		c.path("leader", fmt.Sprintf("M%s %sL%s %s", coord(labelX-24), coord(ys[i]), coord(labelX-4), coord(at)))
		c.text(labelX, at+4, "", "start", levels[i].words, "")
	}
}

func (v frameView) describe() string {
	s := v.name + " model: the top stands at " + arcmin(v.top) + " from the eye’s horizontal"
	switch {
	case v.unknown:
		s += ", terrain is missing and what is cut off is not known"
	case v.crest == nil:
		s += ", nothing of the target is cut off"
	case *v.crest >= v.top:
		s += ", behind ground at " + arcmin(*v.crest) + ": out of view"
	default:
		s += ", what lies lower than " + arcmin(*v.crest) + " is cut off"
	}
	if v.horizon != nil {
		s += "; the sea horizon at " + arcmin(*v.horizon)
	}
	return s + "."
}
