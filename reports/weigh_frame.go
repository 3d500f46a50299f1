package reports

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"farstation/pipeline"
)

// weighPoint is a measured point in a figure: where it was measured, and where the two models have it with the cameras that fit them best; nil where
// that is not known or outside the frame.
type weighPoint struct {
	number        int // in the table of points, from 1
	words         string
	at            plotPoint
	sdPx          float64
	curved, plane *plotPoint
}

// weighPoints lists the measured points of a frame, counted from 1. Models have tops where they are expected with heights as they were given: what a
// fit leaves over in pixels is less, for it moves heights too, at the price of χ², and a drawing of that would hide by how much a model fails. Points
// that rest on no height have their place from the fit; for others it is not known.
func weighPoints(w *pipeline.Weighing, frame int) []weighPoint {
	var out []weighPoint
	curved, plane := fittedModel(w, pipeline.ModelCurved), fittedModel(w, pipeline.ModelPlane)
	for i, r := range measuredPoints(w) {
		if r.Frame != frame || !allFinite(r.AtXPx, r.AtYPx, r.SDPx) {
			continue
		}
		p := weighPoint{number: i + 1, words: pointWords(r.Name, r.Part), at: plotPoint{r.AtXPx, r.AtYPx}, sdPx: r.SDPx}
		switch r.Part {
		case pipeline.PartTop:
			if e := expectedOf(w, &r); e != nil {
				p.curved, p.plane = pointAt(e.CurvedXPx, e.CurvedYPx), pointAt(e.PlaneXPx, e.PlaneYPx)
			}
		case pipeline.PartSeaHorizon, pipeline.PartLevel, pipeline.PartPlumb:
			p.curved, p.plane = predicted(curved, i), predicted(plane, i)
		}
		out = append(out, p)
	}
	return out
}

// expectedOf is the expected top of a measured one, the nearest of those with its name.
func expectedOf(w *pipeline.Weighing, r *pipeline.PointResidual) *pipeline.ExpectedTop {
	var best *pipeline.ExpectedTop
	least := math.Inf(1)
	for i := range w.Expected {
		e := &w.Expected[i]
		if e.Frame != r.Frame || !e.Measured || e.Name != r.Name {
			continue
		}
		away := math.MaxFloat64
		if at, ok := expectedPlace(e); ok {
			away = math.Hypot(at.x-r.AtXPx, at.y-r.AtYPx)
		}
		if away < least {
			best, least = e, away
		}
	}
	return best
}

func pointAt(x, y *float64) *plotPoint {
	if x == nil || y == nil || !allFinite(*x, *y) {
		return nil
	}
	return &plotPoint{*x, *y}
}

// predicted is where a fit has a point: a residual is measured less predicted.
func predicted(m *pipeline.ModelFit, i int) *plotPoint {
	if m == nil || i >= len(m.Residuals) {
		return nil
	}
	r := m.Residuals[i]
	if !allFinite(r.AtXPx, r.AtYPx, r.XPx, r.YPx) {
		return nil
	}
	return &plotPoint{r.AtXPx - r.XPx, r.AtYPx - r.YPx}
}

// unmarkedWords say which measured points have no mark of a model; "" where all have both.
func unmarkedWords(points []weighPoint) string {
	var numbers []string
	for _, p := range points {
		if p.curved == nil || p.plane == nil {
			numbers = append(numbers, strconv.Itoa(p.number))
		}
	}
	if len(numbers) == 0 {
		return ""
	}
	return fitted("Without a mark of both models: "+strings.Join(numbers, ", ")+". It would lie outside the frame, or the point is not a top.", figureWidth, 11.5)
}

// measuredPoints are the points that took part, those of the first model that has a fit: all models have the same.
func measuredPoints(w *pipeline.Weighing) []pipeline.PointResidual {
	for i := range w.Models {
		if w.Models[i].Fitted {
			return w.Models[i].Residuals
		}
	}
	return nil
}

func fittedModel(w *pipeline.Weighing, name string) *pipeline.ModelFit {
	for i := range w.Models {
		if m := &w.Models[i]; m.Name == name && m.Fitted {
			return m
		}
	}
	return nil
}

// pointWords name a point: a top by its name alone, other parts with the part.
func pointWords(name string, part pipeline.MeasuredPart) string {
	words := strings.ReplaceAll(string(part), "_", " ")
	switch {
	case strings.TrimSpace(name) == "" && words != "":
		return words
	case part == pipeline.PartTop, words == "":
		return plainName(name)
	}
	return plainName(name) + ", " + words
}

// inView tells whether an expected top stands in view under the curved model, as far as that is known.
func inView(e *pipeline.ExpectedTop) bool {
	return e.Verdict == pipeline.Direct || e.Verdict == pipeline.Refracted || e.Verdict == ""
}

// expectedPlace is where an expected top stands in the picture: where the curved model has it, the plane where that has no fit.
func expectedPlace(e *pipeline.ExpectedTop) (plotPoint, bool) {
	at := pointAt(e.CurvedXPx, e.CurvedYPx)
	if at == nil {
		at = pointAt(e.PlaneXPx, e.PlaneYPx)
	}
	if at == nil {
		return plotPoint{}, false
	}
	return *at, true
}

// namedPlace is a top in a figure.
type namedPlace struct {
	name string
	at   plotPoint
}

// expectedInFrame lists the tops that should be in view within a frame and were not measured.
func expectedInFrame(w *pipeline.Weighing, frame int, place func(plotPoint) plotPoint, within func(plotPoint) bool) []namedPlace {
	var out []namedPlace
	for i := range w.Expected {
		e := &w.Expected[i]
		at, ok := expectedPlace(e)
		if e.Frame == frame && !e.Measured && ok && inView(e) && within(place(at)) {
			out = append(out, namedPlace{e.Name, place(at)})
		}
	}
	return out
}

const (
	smallTextSize   = 10.5
	mostNamedInView = 60 // tops that a frame names beside the measured ones, nearest first
)

// photographFigure draws a photograph with what was measured on it and where the two models have it. Without the picture it draws its frame.
func photographFigure(w *pipeline.Weighing, index int, picture weighPicture) ([]byte, error) {
	photo, frame := w.Images[index], index+1
	if photo.WidthPx < 1 || photo.HeightPx < 1 {
		return nil, nil
	}
	scale := math.Min(figureWidth/float64(photo.WidthPx), 1000/float64(photo.HeightPx))
	width, height := scale*float64(photo.WidthPx), scale*float64(photo.HeightPx)
	// A low picture has no room for names inside it.
	top := math.Max(8, 200-height)
	left := (figureWidth - width) / 2
	place := func(p plotPoint) plotPoint { return plotPoint{left + scale*p.x, top + scale*p.y} }
	within := func(p plotPoint) bool {
		return p.x >= left && p.x <= left+width && p.y >= top && p.y <= top+height
	}
	c := &canvas{id: "photograph-" + strconv.Itoa(frame)}
	if picture.uri != "" {
		fmt.Fprintf(c, `<image href="%s" x="%s" y="%s" width="%s" height="%s" preserveAspectRatio="none"/>`, picture.uri, coord(left), coord(top), coord(width), coord(height))
	}
	c.path("frame", "M"+coord(left)+" "+coord(top)+"h"+coord(width)+"v"+coord(height)+"h"+coord(-width)+"z")
	labels := newLabelPlacer(2, 4, figureWidth-2, top+height-2)
	clip := c.clip(left, top, width, height)
	points := weighPoints(w, frame)
	for _, p := range points {
		for _, m := range []struct {
			kind string
			at   *plotPoint
		}{{markPlane, p.plane}, {markCurved, p.curved}, {markMeasured, &p.at}} {
			if m.at == nil {
				continue
			}
			at := place(*m.at)
			c.path("halo", markShape(m.kind, at.x, at.y))
			c.mark(m.kind, at.x, at.y)
			labels.keepFree(at, 8)
		}
	}
	for _, p := range points {
		if at := place(p.at); within(at) {
			words := strconv.Itoa(p.number) + " " + p.words
			labels.place(at, fitted(words, 190, figureTextSize), words, figureTextSize)
		}
	}
	tops := expectedInFrame(w, frame, place, within)
	for _, e := range tops {
		c.path("halo", markShape(markExpected, e.at.x, e.at.y))
		c.mark(markExpected, e.at.x, e.at.y)
		labels.keepFree(e.at, 4)
	}
	named, unnamed := 0, 0
	for _, e := range tops {
		if named < mostNamedInView && labels.place(e.at, fitted(e.name, 130, smallTextSize), plainName(e.name), smallTextSize) {
			named++
		} else {
			unnamed++
		}
	}
	c.WriteString(clip)
	labels.draw(c)
	items := []legendItem{{mark: markMeasured, words: "measured"}}
	if fittedModel(w, pipeline.ModelCurved) != nil {
		items = append(items, legendItem{mark: markCurved, words: "where the curved Earth has it"})
	}
	if fittedModel(w, pipeline.ModelPlane) != nil {
		items = append(items, legendItem{mark: markPlane, words: "where the plane has it"})
	}
	if named+unnamed > 0 {
		items = append(items, legendItem{mark: markExpected, words: "expected in view, not measured"})
	}
	end := c.legend(items, 0, figureWidth, top+height+24)
	note := func(words string) {
		c.text(0, end, "note", "start", words, "")
		end += 17
	}
	if picture.uri == "" && picture.why != "" {
		note(fitted("Only the frame is drawn: "+picture.why+".", figureWidth, 11.5))
	}
	if words := unmarkedWords(points); words != "" && fittedModel(w, pipeline.ModelCurved) != nil {
		note(words)
	}
	if unnamed > 0 {
		note(plural(unnamed, "expected top has", "expected tops have") + " no room for a name here; the table holds all.")
	}
	return c.svg(FigureOptions{Inline: true}, end, fmt.Sprintf("Photograph %d with measured and predicted points", frame),
		fmt.Sprintf("%s of photograph %d, each with the places where a curved Earth and a plane have it, and %s that should be in view.",
			plural(len(points), "measured point", "measured points"), frame, plural(named+unnamed, "top not measured", "tops not measured")))
}
