package reports

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"farstation/pipeline"
)

// curvatureFigure draws the key figure of a weighed photograph: by how much each measured top stands below its place on the plane, all heights taken
// out, against its distance. Apparent curvature is the slope: the plane is the flat line.
func curvatureFigure(w *pipeline.Weighing, opts FigureOptions) ([]byte, error) {
	const left, right, top, bottom = 70.0, figureWidth - 20, 20.0, 330.0
	c := &canvas{id: opts.idOr("curvature")}
	farM, low, high := 0.0, 0.0, 0.0
	for _, t := range w.Tops {
		if !allFinite(t.DistanceM, t.Depression, t.DepressionSD) {
			return nil, fmt.Errorf("figure: %s has no finite place", t.Name)
		}
		farM = math.Max(farM, t.DistanceM)
		low, high = math.Min(low, t.Depression-2*t.DepressionSD), math.Max(high, t.Depression+2*t.DepressionSD)
	}
	if farM == 0 || w.ApparentCurvaturePerM == nil || !(w.RadiusM > 0) {
		return nil, nil
	}
	farM *= 1.05
	slope := func(curvaturePerM float64) float64 { return curvaturePerM / 2 * 180 * 60 / math.Pi } // arc minutes a metre
	expected := slope((1 - w.Air.K) / w.RadiusM)
	high = math.Max(high, expected*farM)
	margin := 0.05 * (high - low)
	low, high = low-margin, high+margin
	x := func(m float64) float64 { return left + (right-left)*m/farM }
	y := func(arcmin float64) float64 { return top + (bottom-top)*(arcmin-low)/(high-low) }

	for _, tick := range roundTicks(0, farM/1000, 8) {
		c.path("grid", "M"+coord(x(tick*1000))+" "+coord(top)+"V"+coord(bottom))
		c.text(x(tick*1000), bottom+16, "axis", "middle", tickText(tick), "")
	}
	for _, tick := range roundTicks(low, high, 7) {
		c.path("grid", "M"+coord(left)+" "+coord(y(tick))+"H"+coord(right))
		c.text(left-6, y(tick)+4, "axis", "end", tickText(tick)+"′", "")
	}
	c.text((left+right)/2, bottom+34, "axis", "middle", "distance, km", "")
	c.text(left, top-6, "axis", "start", "below its place on the plane, heights taken out", "")
	line := func(class string, perM float64) {
		c.path(class, "M"+coord(x(0))+" "+coord(y(0))+"L"+coord(x(farM))+" "+coord(y(perM*farM)))
	}
	line("ray-plane", 0)
	line("ray-low", expected)
	line("ray", slope(*w.ApparentCurvaturePerM))
	tops := slices.Clone(w.Tops)
	slices.SortStableFunc(tops, func(a, b pipeline.WeighedTop) int { return cmp.Compare(a.Depression, b.Depression) })
	var ys []float64
	for _, t := range tops {
		ys = append(ys, y(t.Depression)+4)
	}
	ys = spreadApart(ys, figureLane-2, top+10, bottom-4)
	for i, t := range tops {
		px, py := x(t.DistanceM), y(t.Depression)
		half := math.Abs(y(t.Depression+t.DepressionSD) - py)
		c.path("whisker", "M"+coord(px)+" "+coord(py-half)+"V"+coord(py+half))
		c.mark(markEnd, px, py)
		textX, anchor := px-9, "end"
		if px < (left+right)/2 {
			textX, anchor = px+9, "start"
		}
		c.text(textX, ys[i], "label", anchor, fitted(t.Name+" "+string(t.Part), 170, figureTextSize), plainName(t.Name))
	}
	end := c.legend([]legendItem{
		{line: "ray", words: "fitted, curvature free"}, {line: "ray-low", words: "curved, k = " + decimals(w.Air.K, 3)}, {line: "ray-plane", words: "plane, straight light"},
		{mark: markEnd, words: "measured, with one standard deviation"},
	}, left, right, bottom+62)
	return c.svg(opts, end, "Depression against distance",
		fmt.Sprintf("%d measured points against three straight lines: the plane at 0, a curved Earth in expected air, and the fit.", len(w.Tops)))
}
