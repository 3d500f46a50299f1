package reports

import (
	"fmt"
	"math"

	"farstation/pipeline"
)

// separationFigure draws the angle of a claim under both models, side by side in one frame on one scale of arc minutes: the near top, or the
// front, at 0, and the far top over it, or hidden below it.
func separationFigure(claim *pipeline.Claim) ([]byte, error) {
	near := "front"
	if claim.Near != nil {
		near = claim.Near.Name
	}
	views := []separationView{
		{"Curved, at nominal k", []string{pipeline.ModelCurved, pipeline.ModelCurvedLowK, pipeline.ModelCurvedHighK, pipeline.ModelCurvedK0}},
		{"Plane, light straight", []string{pipeline.ModelPlane, pipeline.ModelPlaneSameAir}},
	}
	lo, hi := 0.0, 0.0
	for _, m := range claim.Models {
		if m.AngleArcmin == nil || m.AngleSDArcmin == nil || !allFinite(*m.AngleArcmin, *m.AngleSDArcmin) {
			return nil, fmt.Errorf("figure: model %s has no finite angle", m.Model)
		}
		lo, hi = math.Min(lo, *m.AngleArcmin-2**m.AngleSDArcmin), math.Max(hi, *m.AngleArcmin+2**m.AngleSDArcmin)
	}
	margin := math.Max(0.08*(hi-lo), 0.5)
	scale := frameScale{lo: lo - 2*margin, hi: hi + margin, top: 40, bottom: 40 + 260}
	c := &canvas{id: "claim-frame"}
	for _, t := range roundTicks(scale.lo, scale.hi, 7) {
		c.path("grid", fmt.Sprintf("M%s %sH%s", coord(frameLeft), coord(scale.y(t)), coord(figureWidth)))
		c.text(frameLeft-6, scale.y(t)+4, "axis", "end", tickText(t)+"′", "")
	}
	width := (figureWidth - frameLeft) / 2
	for i, v := range views {
		v.draw(c, claim, scale, frameLeft+float64(i)*width, width-12, near)
	}
	y := c.legend([]legendItem{{fill: "face", words: "far top in view"}, {fill: "near", words: "near top or front, and what lies lower"},
		{hatch: true, words: "top hidden"}, {line: "ridge", words: "the same at another k, or in the same air"}}, 0, figureWidth, scale.bottom+26)
	curved, plane := claim.Model(pipeline.ModelCurved), claim.Model(pipeline.ModelPlane)
	return c.svg(FigureOptions{Inline: true}, y+6, "The claimed angle under both models",
		fmt.Sprintf("Far top over near top or front: curved %s, plane %s arc minutes.", plusMinus(*curved.AngleArcmin, *curved.AngleSDArcmin, 1), plusMinus(*plane.AngleArcmin, *plane.AngleSDArcmin, 1)))
}

// separationView is one model of separationFigure; the first name of models is the one that is drawn in full.
type separationView struct {
	heading string
	models  []string
}

func (v separationView) draw(c *canvas, claim *pipeline.Claim, s frameScale, x, width float64, near string) {
	c.text(x+8, s.top-14, "panel", "start", v.heading, "")
	m := claim.Model(v.models[0])
	at, sd := *m.AngleArcmin, *m.AngleSDArcmin
	face, labelX := x+faceLeft, x+frameLabelLeft
	if at > 0 {
		c.rect("face", face, s.y(at), faceWidth, s.y(0)-s.y(at))
	}
	if claim.Case == pipeline.NearMissingFarSeen && v.models[0] == pipeline.ModelCurved {
		c.hatched(x+4, s.y(0), labelX-20-x-4, s.bottom-s.y(0))
	} else {
		c.rect("near", x+4, s.y(0), labelX-20-x-4, s.bottom-s.y(0))
	}
	if at < 0 {
		c.hatched(face, s.y(at), faceWidth, s.bottom-s.y(at))
	}
	c.path("crest", fmt.Sprintf("M%s %sH%s", coord(x+4), coord(s.y(0)), coord(labelX-20)))
	mid := face + faceWidth + 9
	c.path("whisker", fmt.Sprintf("M%s %sh8m-4 0V%sm-4 0h8", coord(mid-4), coord(s.y(at+2*sd)), coord(s.y(at-2*sd))))
	c.path("frame", fmt.Sprintf("M%s %sV%sH%s", coord(x), coord(s.top), coord(s.bottom), coord(x+width)))

	value := " " + plusMinus(at, sd, 1) + "′"
	levels := []frameLevel{
		{at, isolated(fitted(claim.Target.Name, frameLabelWidth-textWidth(value, figureTextSize), figureTextSize)) + value},
		{0, isolated(fitted(near, frameLabelWidth, figureTextSize))},
	}
	others := map[string]string{
		pipeline.ModelCurvedLowK: "at low k ", pipeline.ModelCurvedHighK: "at high k ", pipeline.ModelCurvedK0: "straight light ", pipeline.ModelPlaneSameAir: "in the same air ",
	}
	for _, name := range v.models[1:] {
		other := *claim.Model(name).AngleArcmin
		c.path("ridge", fmt.Sprintf("M%s %sh%s", coord(face-14), coord(s.y(other)), coord(faceWidth+28)))
		levels = append(levels, frameLevel{other, others[name] + arcmin(other)})
	}
	ys := make([]float64, len(levels))
	for i, l := range levels {
		ys[i] = s.y(l.arcmin)
	}
	for i, at := range spreadApart(ys, 16, s.top+6, s.bottom-9) {
		c.path("leader", fmt.Sprintf("M%s %sL%s %s", coord(labelX-20), coord(ys[i]), coord(labelX-4), coord(at)))
		c.text(labelX, at+4, "label", "start", levels[i].words, "")
	}
}
