package reports

import (
	"fmt"
	"math"

	"farstation/pipeline"
)

// kFigure draws on one axis of the refraction coefficient k what the photograph needs, what air ordinarily does, and the k = 1 that makes a curved
// Earth look like the plane.
func kFigure(w *pipeline.Weighing) ([]byte, error) {
	if w.K == nil || w.KSD == nil || !allFinite(*w.K, *w.KSD, w.Air.K, w.Air.KSD, w.Air.LowK, w.Air.LowKSD) || *w.KSD < 0 {
		return nil, nil
	}
	type band struct {
		words  string
		k, sd  float64
		fitted bool
	}
	bands := []band{{"fitted, curvature free", *w.K, *w.KSD, true}}
	if f := w.WithoutLow; f != nil && allFinite(f.Curvature, f.CurvatureSD) {
		bands = append(bands, band{"fitted, without low rays", 1 - f.Curvature, f.CurvatureSD, true})
	}
	if f := w.Distorted; f != nil && allFinite(f.Curvature, f.CurvatureSD) {
		bands = append(bands, band{"fitted, lens distortion free", 1 - f.Curvature, f.CurvatureSD, true})
	}
	bands = append(bands, band{"air as expected", w.Air.K, w.Air.KSD, false})
	if w.Air.LowKSD > 0 {
		bands = append(bands, band{"air near the ground", w.Air.LowK, w.Air.LowKSD, false})
	}
	low, high := -0.1, 1.1
	for _, b := range bands {
		low, high = math.Min(low, b.k-2*b.sd), math.Max(high, b.k+2*b.sd)
	}
	const left, right, top, row = 190.0, figureWidth - 12, 14.0, 26.0
	low, high = math.Max(low, -5)-0.02, math.Min(high, 6)+0.02
	x := func(k float64) float64 { return left + (right-left)*(math.Max(low, math.Min(high, k))-low)/(high-low) }
	bottom := top + row*float64(len(bands))
	c := &canvas{id: "k-axis"}
	for _, tick := range roundTicks(low, high, 8) {
		c.path("grid", "M"+coord(x(tick))+" "+coord(top)+"V"+coord(bottom))
		c.text(x(tick), bottom+16, "axis", "middle", tickText(tick), "")
	}
	for i, b := range bands {
		y := top + row*(float64(i)+0.5)
		c.text(left-8, y+4, "", "end", b.words, "")
		if b.fitted {
			c.path("whisker", fmt.Sprintf("M%s %sv8m0-4H%sm0-4v8", coord(x(b.k-2*b.sd)), coord(y-4), coord(x(b.k+2*b.sd))))
			c.path("bar", fmt.Sprintf("M%s %sH%s", coord(x(b.k-b.sd)), coord(y), coord(x(b.k+b.sd))))
			c.mark(markEnd, x(b.k), y)
			continue
		}
		c.rect("near", x(b.k-2*b.sd), y-8, x(b.k+2*b.sd)-x(b.k-2*b.sd), 16)
		c.rect("land", x(b.k-b.sd), y-8, x(b.k+b.sd)-x(b.k-b.sd), 16)
	}
	c.path("ray-plane", "M"+coord(x(1))+" "+coord(top)+"V"+coord(bottom))
	c.text((left+right)/2, bottom+34, "axis", "middle", "refraction coefficient k", "")
	end := c.legend([]legendItem{
		{mark: markEnd, words: "fitted, with one (thick) and two standard deviations"}, {fill: "land", words: "air: one standard deviation"},
		{fill: "near", words: "air: two"}, {line: "ray-plane", words: "k = 1, at which it would look like the plane"},
	}, 0, figureWidth, bottom+58)
	return c.svg(FigureOptions{Inline: true}, end-6, "The refraction coefficient that fits, and what air does",
		fmt.Sprintf("The curved Earth fits with k %s; air is expected to have %s; the plane is the curved Earth at k = 1.", plusMinus(*w.K, *w.KSD, 3), plusMinus(w.Air.K, w.Air.KSD, 3)))
}
