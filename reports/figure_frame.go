package reports

import (
	"fmt"
	"math"
	"strings"

	"farstation/geodesy"
	"farstation/pipeline"
)

const arcminPerRad = 180 * 60 / math.Pi

// FrameFigure draws what a lens sees along the azimuth of a sightline under both models, side by side on one elevation scale in
// arc minutes, as SVG: the target's ground and structure, the skyline of the ground before it, the front and the sea horizon.
// Elevations are taken from the row, relative to that of the top, by the relation of geodesy.ApparentElevationRad on the sphere of
// the row's radius. From the profile come only the ground under a structure that is partly cut off and the place of the plane's foot
// in view. Both know the line alone and nothing beside it, so all is drawn as blocks whose widths mean nothing.
func FrameFigure(line *pipeline.Sightline, profile *pipeline.Profile, opts FigureOptions) ([]byte, error) {
	if err := opts.check(line); err != nil {
		return nil, err
	}
	p, err := newProfilePlot(line, profile, opts)
	if err != nil {
		return nil, fmt.Errorf("figure %s to %s: %w", line.ObserverID, line.TargetID, err)
	}
	structureM := p.structureM()
	views := []frameView{curvedView(line, structureM, opts), planeView(p, structureM)}
	unknown, cut := line.Verdict == pipeline.Undecided, false
	lo, hi := 0.0, 0.0 // the eye's horizontal always shows
	for i := range views {
		v := &views[i]
		if unknown {
			v.unknown, v.crest, v.front, v.horizonHidden = true, nil, nil, false
		}
		cut = cut || v.crest != nil
		for _, m := range v.levels() {
			if !allFinite(m.arcmin) {
				return nil, fmt.Errorf("figure %s to %s: %s of the %s model is not finite", line.ObserverID, line.TargetID, m.words, v.name)
			}
			lo, hi = math.Min(lo, m.arcmin), math.Max(hi, m.arcmin)
		}
		lo, hi = math.Min(lo, v.top-2*v.topSD), math.Max(hi, v.top+2*v.topSD)
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
	items := []legendItem{{fill: "face", words: "target in view"}, {fill: "near", words: "ground and sea before it"}}
	if unknown {
		items = []legendItem{{cross: true, words: "not known: terrain is missing"}}
	} else if cut {
		items = append(items, legendItem{hatch: true, words: "target cut off"}, legendItem{line: "crest", words: "skyline that cuts it off"})
	}
	if views[1].front != nil {
		items = append(items, legendItem{line: "ridge", words: "on the plane, the ground of the front"})
	}
	items = append(items, legendItem{line: "level", words: "eye’s horizontal"})
	if line.DipArcmin != nil {
		items = append(items, legendItem{line: "sealine", words: "sea horizon"})
	}
	y := c.legend(items, 0, figureWidth, scale.bottom+26)
	c.text(0, y, "note", "start", "Elevations in arc minutes on one scale. Only the line itself is known, not the slopes beside it: widths mean nothing.", "")
	y += 17
	c.text(0, y, "note", "start", "The target stands as from its base height, "+metres(line.BaseHeightM)+", at the target’s distance. "+structureWords(line, structureM), "")
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
	ground    float64  // under the structure; the top where there is none
	structure string   // names the structure and its angle; "" where there is none
	crest     *float64 // elevation up to which the target is cut off
	crestName string
	front     *float64 // elevation of the ground at the curved model's front
	frontName string
	horizon   *float64
	topName   string
	// horizonHidden: the sea horizon lies behind the skyline that cuts off the target.
	horizonHidden bool
	unknown       bool // undecided: whether anything is cut off is not known
}

type frameLevel struct {
	arcmin float64
	words  string
}

func (v frameView) horizonWords() string {
	if v.horizonHidden {
		return "sea horizon, hidden, "
	}
	return "sea horizon "
}

// levels are the labelled elevations, target's top first.
func (v frameView) levels() []frameLevel {
	top := " " + arcmin(v.top)
	if v.topSD > 0 {
		top = " " + plusMinus(v.top, v.topSD, 1) + "′"
	}
	name := isolated(fitted(v.topName, frameLabelWidth-textWidth(top, figureTextSize), figureTextSize))
	out := []frameLevel{{v.top, name + top}, {v.base, "base " + arcmin(v.base)}}
	if v.structure != "" {
		out = append(out, frameLevel{(v.top + v.ground) / 2, v.structure})
	}
	if v.crest != nil {
		out = append(out, frameLevel{*v.crest, v.crestName + " " + arcmin(*v.crest)})
	}
	if v.front != nil {
		out = append(out, frameLevel{*v.front, v.frontName + " " + arcmin(*v.front)})
	}
	if v.horizon != nil {
		out = append(out, frameLevel{*v.horizon, v.horizonWords() + arcmin(*v.horizon)})
	}
	return out
}

func curvedView(line *pipeline.Sightline, structureM float64, opts FigureOptions) frameView {
	top := line.ElevationDeg * 60
	from := func(heightM, distanceM float64) float64 {
		return top + arcminPerRad*(geodesy.ApparentElevationRad(line.EyeHeightM, heightM, distanceM, line.RadiusM, opts.K)-
			geodesy.ApparentElevationRad(line.EyeHeightM, line.TopHeightM, line.DistanceM, line.RadiusM, opts.K))
	}
	v := frameView{name: "Curved", topName: line.TargetName, top: top, topSD: line.ElevationSDArcmin, base: from(line.BaseHeightM, line.DistanceM)}
	v.stand(line, structureM, from)
	v.crest, v.crestName = crest(line.MarginArcmin, top, line.ObscuredHeightM, line.FootDistanceM, line.DistanceM, from)
	if v.crest != nil && line.FrontDistanceM != nil {
		// The ray over the front is the one to the foot in view.
		level := *v.crest
		v.front, v.frontName = &level, "front "+kilometres(*line.FrontDistanceM)+","
		if line.MarginArcmin < 0 {
			v.crestName, v.front = v.frontName, nil
		}
	}
	if line.DipArcmin != nil {
		dip := -*line.DipArcmin
		v.horizon = &dip
		// Over a front that is nearer, a front at the sea horizon being none, the horizon does not show.
		v.horizonHidden = v.crest != nil && *v.crest > dip+0.05 && line.FrontDistanceM != nil && line.SeaHorizonM != nil && *line.FrontDistanceM < *line.SeaHorizonM
	}
	return v
}

func planeView(p *profilePlot, structureM float64) frameView {
	line := p.line
	top := line.ElevationPlaneDeg * 60
	from := func(heightM, distanceM float64) float64 {
		return top + arcminPerRad*(geodesy.PlaneElevationRad(line.EyeHeightM, heightM, distanceM)-
			geodesy.PlaneElevationRad(line.EyeHeightM, line.TopHeightM, line.DistanceM))
	}
	v := frameView{name: "Plane", topName: line.TargetName, top: top, base: from(line.BaseHeightM, line.DistanceM)}
	v.stand(line, structureM, from)
	var footM *float64
	if line.ObscuredHeightPlaneM != nil {
		x := p.faceM(*line.ObscuredHeightPlaneM)
		footM = &x
	}
	v.crest, v.crestName = crest(line.MarginPlaneArcmin, top, line.ObscuredHeightPlaneM, footM, line.DistanceM, from)
	if line.FrontDistanceM != nil && line.FrontHeightM != nil && *line.FrontDistanceM > 0 {
		level := from(*line.FrontHeightM, *line.FrontDistanceM)
		v.front, v.frontName = &level, "the same ground"
	}
	if line.DipArcmin != nil {
		level := 0.0 // the plane's sea horizon lies at the horizontal
		v.horizon, v.horizonHidden = &level, v.crest != nil && *v.crest > level
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
	return &level, "foot in view " + metres(*obscuredM) + ","
}

// structureM is the height of the target's structure over its ground, 0 where it has none: what shows of it where nothing of it is
// cut off, else down to the end of the profile.
func (p *profilePlot) structureM() float64 {
	l := p.line
	if l.StructureInViewM == nil {
		return 0
	}
	if whole := l.TopHeightM - *l.StructureInViewM; l.MarginArcmin > 0 && *l.StructureInViewM > 0 && (l.ObscuredHeightM == nil || *l.ObscuredHeightM < whole) {
		return *l.StructureInViewM
	}
	ground, _ := p.at(l.DistanceM)
	return math.Max(l.TopHeightM-ground, *l.StructureInViewM)
}

// faceM is the distance of the outermost ground before the target that is not higher than heightM, the target's own where there is
// none.
func (p *profilePlot) faceM(heightM float64) float64 {
	for i := len(p.samples) - 1; i > 0; i-- {
		lower, upper := p.samples[i-1], p.samples[i]
		if lower.DistanceM >= p.line.DistanceM || lower.GroundM > heightM {
			continue
		}
		if upper.GroundM <= heightM {
			return math.Min(upper.DistanceM, p.line.DistanceM)
		}
		f := (heightM - lower.GroundM) / (upper.GroundM - lower.GroundM)
		return lower.DistanceM + f*(upper.DistanceM-lower.DistanceM)
	}
	return p.line.DistanceM
}

// stand sets the target's structure on its ground.
func (v *frameView) stand(line *pipeline.Sightline, structureM float64, from func(heightM, distanceM float64) float64) {
	v.ground = v.top
	if structureM > 0 {
		v.ground = from(line.TopHeightM-structureM, line.DistanceM)
		v.base = math.Min(v.base, v.ground)
		v.structure = "structure " + metres(structureM) + " = " + arcmin(v.top-v.ground)
	}
}

func structureWords(line *pipeline.Sightline, structureM float64) string {
	if structureM <= 0 || line.StructureInViewM == nil || line.Verdict == pipeline.Undecided {
		return ""
	}
	return "Of its structure " + metres(*line.StructureInViewM) + " show under the curve."
}

// Places in a view, from its left edge.
const (
	faceLeft, faceWidth, mastWidth = 14.0, 66.0, 16.0
	frameLabelLeft                 = faceLeft + faceWidth + 36
	frameLabelWidth                = (figureWidth-frameLeft)/2 - 12 - frameLabelLeft
)

// block draws part of the target from one elevation down to another: what stands over shownFrom as in view, the rest as cut off.
func (v frameView) block(c *canvas, s frameScale, x, width, from, to, shownFrom float64) {
	if v.unknown {
		c.crossed(x, s.y(from), width, math.Max(0, s.y(to)-s.y(from)))
		return
	}
	shownFrom = math.Max(to, math.Min(from, shownFrom))
	if from > shownFrom {
		c.rect("face", x, s.y(from), width, s.y(shownFrom)-s.y(from))
	}
	if shownFrom > to {
		c.hatched(x, s.y(shownFrom), width, s.y(to)-s.y(shownFrom))
	}
}

// draw draws one view with its left edge at x.
func (v frameView) draw(c *canvas, s frameScale, x, width float64) {
	heading := "Plane, light straight"
	if v.name == "Curved" {
		heading = "Curved, at nominal k"
	}
	c.text(x+8, s.top-14, "panel", "start", heading, "")
	face, labelX := x+faceLeft, x+frameLabelLeft
	across := func(class string, arcmin float64) {
		c.path(class, fmt.Sprintf("M%s %sH%s", coord(x+4), coord(s.y(arcmin)), coord(labelX-20)))
	}
	shownFrom := v.base // lowest elevation of the target that shows
	if v.crest != nil {
		shownFrom = *v.crest
	}
	if !v.unknown {
		c.rect("near", x+4, s.y(shownFrom), labelX-20-x-4, math.Max(0, s.bottom-s.y(shownFrom)))
	}
	if v.horizon != nil {
		across("sealine", *v.horizon)
	}
	across("level", 0)
	v.block(c, s, face, faceWidth, v.ground, v.base, shownFrom)
	if v.structure != "" {
		v.block(c, s, face+(faceWidth-mastWidth)/2, mastWidth, v.top, v.ground, shownFrom)
	}
	if v.front != nil {
		across("ridge", *v.front)
	}
	if v.crest != nil {
		across("crest", *v.crest)
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
		c.path("leader", fmt.Sprintf("M%s %sL%s %s", coord(labelX-20), coord(ys[i]), coord(labelX-4), coord(at)))
		c.text(labelX, at+4, "label", "start", levels[i].words, "")
	}
}

func (v frameView) describe() string {
	s := v.name + " model: the top of " + isolated(v.topName) + " stands at " + arcmin(v.top) + " from the eye’s horizontal"
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
	if v.front != nil {
		s += "; " + strings.TrimSuffix(v.frontName, ",") + " at " + arcmin(*v.front)
	}
	if v.structure != "" {
		s += "; " + v.structure
	}
	if v.horizon != nil {
		s += "; the " + v.horizonWords() + "at " + arcmin(*v.horizon)
	}
	return s + "."
}
