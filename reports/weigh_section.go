package reports

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"farstation/pipeline"
)

// sectionFigure draws the section from the eye over a near to a far top under both models, exaggerated and at true scale, and under it how much of
// the far hill each has out of view.
func sectionFigure(w *pipeline.Weighing, index int) ([]byte, error) {
	s := &w.Sections[index]
	line, profile := sectionLine(s)
	opts := FigureOptions{Inline: true, ID: "section-" + strconv.Itoa(index+1), K: s.K, KSD: w.Air.KSD}
	if err := opts.check(line); err != nil {
		return nil, err
	}
	p, err := newProfilePlot(line, profile, opts)
	if err != nil {
		return nil, fmt.Errorf("section %d, %s to %s: %w", index+1, s.Near, s.Far, err)
	}
	if s.NearM > 0 && s.NearM < s.FarM && allFinite(s.NearTopM) {
		p.also = append(p.also, profileTop{s.Near, s.NearM, s.NearTopM})
		p.maxM = math.Max(p.maxM, 1.05*p.plottedM(s.NearM, s.NearTopM, true))
	}
	c := &canvas{id: opts.ID}
	y := p.panel(c, 16, true)
	y = p.panel(c, y+20, false)
	c.text((plotLeft+plotRight)/2, y+2, "axis", "middle", "distance from the camera, km", "")
	y = c.legend(append(p.legend(), legendItem{line: "ray thin", words: "light over the near top, and on"}), 0, figureWidth, y+28)
	notes := []string{p.exaggerationWords(), "Curved panel: heights over the straight line joining the sea levels of both ends. Height axis in metres."}
	if len(s.GroundM) == 0 {
		notes = append(notes, "No terrain was given: the ground between is not known and sea level is drawn.")
	}
	for _, words := range notes {
		c.text(0, y, "note", "start", words, "")
		y += 17
	}
	if p.exaggeration() >= stripLeast {
		y = p.trueScale(c, y+9) - 17
	}
	y = obscuredBars(c, w, s, y+26)
	return c.svg(opts, y, "Section from the camera over "+isolated(s.Near)+" to "+isolated(s.Far), sectionWords(s))
}

// sectionLine is a section as the profile figure takes it. Without terrain the ground is the sea's level.
func sectionLine(s *pipeline.WeighedSection) (*pipeline.Sightline, *pipeline.Profile) {
	line := &pipeline.Sightline{
		ObserverName: "Camera", TargetName: s.Far, DistanceM: s.FarM, RadiusM: s.RadiusM, EyeHeightM: s.EyeHeightM, TopHeightM: s.FarTopM,
		FrontDistanceM: s.FrontM, FootDistanceM: s.FootM, ObscuredHeightM: s.ObscuredHeightM, ObscuredHeightPlaneM: s.ObscuredHeightPlaneM,
		// No grazing point is given: none is drawn.
		GrazingDistanceM: math.NaN(), MarginArcmin: 1,
	}
	if s.PartInView != nil && *s.PartInView <= 0 {
		line.MarginArcmin = -1
	}
	profile := &pipeline.Profile{}
	add := func(distanceM, groundM float64) {
		profile.Samples = append(profile.Samples, pipeline.ProfileSample{DistanceM: distanceM, GroundM: groundM})
	}
	for i := range min(len(s.DistanceM), len(s.GroundM)) {
		if s.DistanceM[i] >= 0 && s.DistanceM[i] <= s.FarM {
			add(s.DistanceM[i], s.GroundM[i])
		}
	}
	if len(profile.Samples) == 0 {
		const pieces = 100
		for i := range pieces + 1 {
			add(s.FarM*float64(i)/pieces, 0)
		}
		return line, profile
	}
	// A thinned profile may begin and end a little inside.
	if first := profile.Samples[0]; first.DistanceM > 0 {
		first.DistanceM = 0
		profile.Samples = slices.Insert(profile.Samples, 0, first)
	}
	if last := profile.Samples[len(profile.Samples)-1]; last.DistanceM < s.FarM {
		add(s.FarM, last.GroundM)
	}
	return line, profile
}

// sectionWords say by how much the far top stands over the near one.
func sectionWords(s *pipeline.WeighedSection) string {
	return fmt.Sprintf("%s, %s away, stands %s %s, %s away, as measured; the curved Earth has it %s, the plane %s.", isolated(s.Far), kilometres(s.FarM),
		aboveWords(60*(s.FarMeasuredDeg-s.NearMeasuredDeg)), isolated(s.Near), kilometres(s.NearM),
		aboveWords(60*(s.FarCurvedDeg-s.NearCurvedDeg)), aboveWords(60*(s.FarPlaneDeg-s.NearPlaneDeg)))
}

// obscuredBar is one row of the heights of a far hill: out of view up to a height, in view from there on.
type obscuredBar struct {
	name      string
	obscuredM *float64
	measuredM *float64
}

// obscuredBars draws how much of the far hill is out of view under each model, and returns the y under it.
func obscuredBars(c *canvas, w *pipeline.Weighing, s *pipeline.WeighedSection, top float64) float64 {
	sea := s.SeaObscuredHeightM
	bars := []obscuredBar{{name: "curved Earth", obscuredM: s.ObscuredHeightM}, {name: "plane", obscuredM: s.ObscuredHeightPlaneM}}
	for _, cut := range w.Cuts {
		if cut.Name == s.Far {
			bars[0].measuredM, bars[1].measuredM = cut.MeasuredCurvedM, cut.MeasuredPlaneM
		}
	}
	if len(s.GroundM) == 0 {
		bars = nil
	}
	if sea > 0 {
		bars = append(bars, obscuredBar{name: "sea alone, curved", obscuredM: &sea})
	}
	if len(bars) == 0 || !(s.FarTopM > 0) {
		return top - 16
	}
	const left, row = 130.0, 24.0
	end := s.FarTopM
	for _, b := range bars {
		if b.obscuredM != nil {
			end = math.Max(end, *b.obscuredM)
		}
	}
	x := func(m float64) float64 { return left + (plotRight-250-left)*math.Max(0, math.Min(m, end))/end }
	c.text(0, top, "panel", "start", "How much of "+isolated(fitted(s.Far, 260, figureTextSize))+" is out of view, as heights over the sea", isolated(s.Far))
	y := top + 10
	measured := false
	for _, b := range bars {
		c.text(left-8, y+15, "", "end", b.name, "")
		words, obscured := "nothing out of view", 0.0
		if b.obscuredM != nil && *b.obscuredM > 0 {
			obscured = *b.obscuredM
			words = "all below " + metres(obscured)
			if obscured >= s.FarTopM {
				words = "the whole, up to " + metres(obscured)
			}
		}
		c.rect("face", x(obscured), y+3, math.Max(0, x(s.FarTopM)-x(obscured)), row-8)
		if obscured > 0 {
			c.hatched(x(0), y+3, x(obscured)-x(0), row-8)
		}
		c.path("edge", "M"+coord(x(s.FarTopM))+" "+coord(y)+"v"+coord(row-2))
		if b.measuredM != nil && allFinite(*b.measuredM) {
			measured = true
			c.mark(markHorizon, x(*b.measuredM), y+row/2-1)
			words += ", measured " + metres(*b.measuredM)
		}
		c.text(x(end)+8, y+15, "", "start", words, "")
		y += row
	}
	c.path("frame", "M"+coord(x(0))+" "+coord(y)+"H"+coord(x(end)))
	for _, tick := range roundTicks(0, end, 6) {
		c.path("frame", "M"+coord(x(tick))+" "+coord(y)+"v4")
		c.text(x(tick), y+16, "axis", "middle", tickText(tick), "")
	}
	items := []legendItem{{hatch: true, words: "out of view"}, {fill: "face", words: "in view, up to the top"}}
	if measured {
		items = append(items, legendItem{mark: markHorizon, words: "cut, as measured"})
	}
	return c.legend(items, 0, figureWidth, y+38)
}

// sectionAngles is the table of the two tops' apparent elevations.
func sectionAngles(s *pipeline.WeighedSection) htmlTable {
	t := htmlTable{Caption: "Apparent elevations in this section, degrees", Columns: []htmlColumn{{Head: "top"}, {Head: "distance", Numeric: true}, {Head: "height over the sea", Numeric: true},
		{Head: "measured, by the fitted camera", Numeric: true}, {Head: "curved Earth", Numeric: true}, {Head: "plane", Numeric: true}}}
	for _, row := range []struct {
		name                                           string
		distanceM, heightM, measured, curved, planeDeg float64
	}{
		{s.Near, s.NearM, s.NearTopM, s.NearMeasuredDeg, s.NearCurvedDeg, s.NearPlaneDeg},
		{s.Far, s.FarM, s.FarTopM, s.FarMeasuredDeg, s.FarCurvedDeg, s.FarPlaneDeg},
	} {
		t.Rows = append(t.Rows, append([]htmlTableCell{{HTML: htmlName(row.name, 50), RowHead: true}},
			numberCells(kilometres(row.distanceM), metres(row.heightM), decimals(row.measured, 4), decimals(row.curved, 4), decimals(row.planeDeg, 4))...))
	}
	return t
}
