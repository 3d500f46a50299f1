package reports

import (
	"fmt"
	"math"
	"strings"

	"farstation/pipeline"
)

// sheetView is one model's side of the expected frames.
type sheetView struct {
	title     string
	name      string
	skyline   []float64
	horizon   *float64 // elevation of the sea horizon, in degrees; nil where no sea is met
	elevation func(*pipeline.OutingTop) float64
	shows     func(*pipeline.OutingTop) bool
	spread    bool // draw what low and high k make of the tops of the line
}

// sheetFrame is the place of one expected frame in a figure: its left and upper edge, and its centre and size in degrees.
type sheetFrame struct {
	*pipeline.OutingFrame
	left, top, width, height float64
}

// x and y project a direction as a lens does: by the tangent of its angle from the centre.
func (f sheetFrame) x(azimuthDeg float64) float64 {
	return f.left + f.width/2*(1+tanDeg(math.Remainder(azimuthDeg-f.CentreAzimuthDeg, 360))/tanDeg(f.WidthDeg/2))
}

func (f sheetFrame) y(elevationDeg float64) float64 {
	return f.top + f.height/2*(1-tanDeg(elevationDeg-f.CentreElevationDeg)/tanDeg(f.HeightDeg/2))
}

// tanDeg is the tangent of an angle held within ±89°, beyond which nothing of a frame lies.
func tanDeg(deg float64) float64 { return math.Tan(math.Max(-89, math.Min(89, deg)) * math.Pi / 180) }

func (f sheetFrame) holds(p plotPoint) bool {
	return p.x >= f.left && p.x <= f.left+f.width && p.y >= f.top && p.y <= f.top+f.height
}

// The room of both frames: beside and between them, and the greatest height of one.
const (
	sheetLeft, sheetGap = 46.0, 18.0
	sheetMostHigh       = 200.0
)

// outingFrames draws what the frame should show under each model, side by side in one scale, to the shape of the sensor; nil where the frame is not known.
func outingFrames(o *pipeline.Outing) ([]byte, error) {
	f := &o.Frame
	if !(f.WidthDeg > 0 && f.HeightDeg > 0) || len(f.SkylineAzimuthDeg) == 0 {
		return nil, nil
	}
	views := []sheetView{
		{title: "Curved, light bent by k = " + decimals(o.Line.KFree, 3), name: "Curved", skyline: f.SkylineCurvedDeg, spread: true,
			elevation: func(t *pipeline.OutingTop) float64 { return t.CurvedDeg }, shows: func(t *pipeline.OutingTop) bool { return t.InView }},
		{title: "Plane, light straight", name: "Plane", skyline: f.SkylinePlaneDeg,
			elevation: func(t *pipeline.OutingTop) float64 { return t.PlaneDeg }, shows: func(t *pipeline.OutingTop) bool { return t.OnPlane }},
	}
	if dip := o.Line.DipArcmin; dip != nil {
		curved, plane := -*dip/60, 0.0 // on the plane a sea without end reaches the horizontal
		views[0].horizon, views[1].horizon = &curved, &plane
	}
	room := (figureWidth - 1 - sheetLeft - sheetGap) / 2
	scale := math.Min(room/tanDeg(f.WidthDeg/2), sheetMostHigh/tanDeg(f.HeightDeg/2))
	at := sheetFrame{f, 0, 26, scale * tanDeg(f.WidthDeg/2), scale * tanDeg(f.HeightDeg/2)}
	c := &canvas{id: "sheet-frame"}
	for i, v := range views {
		if len(v.skyline) != len(f.SkylineAzimuthDeg) {
			return nil, fmt.Errorf("expected frame: %d elevations of the skyline for %d azimuths", len(v.skyline), len(f.SkylineAzimuthDeg))
		}
		at.left = sheetLeft + float64(i)*(room+sheetGap)
		at.draw(c, &v)
	}
	at.left = sheetLeft
	at.elevations(c)
	items := []legendItem{{mark: markEnd, words: "in view"}, {mark: markFoot, words: "out of view"}, {line: "level", words: "eye’s horizontal"}}
	if o.Line.DipArcmin != nil {
		items = append(items, legendItem{line: "sealine", words: "sea horizon"})
	}
	items = append(items, legendItem{line: "whisker", words: "low to high k"})
	end := c.legend(items, sheetLeft, figureWidth, at.top+at.height+40)
	return c.svg(FigureOptions{Inline: true}, end-6, "Expected frames", frameWords(f, views))
}

// draw draws what one model shows.
func (f sheetFrame) draw(c *canvas, v *sheetView) {
	right, bottom := f.left+f.width, f.top+f.height
	c.text(f.left, f.top-10, "panel", "start", v.title, "")
	f.azimuths(c)
	closing := c.clip(f.left, f.top, f.width, f.height)
	var line []plotPoint
	for i, azimuthDeg := range f.SkylineAzimuthDeg {
		y := bottom + 2
		if e := v.skyline[i]; allFinite(e) {
			y = math.Max(f.top-2, math.Min(f.y(e), y))
		}
		line = append(line, plotPoint{f.x(azimuthDeg), y})
	}
	first, last := line[0], line[len(line)-1]
	c.path("land", pathThrough(thinned(line, 0.15))+fmt.Sprintf("L%s %sL%s %sz", coord(last.x), coord(bottom+2), coord(first.x), coord(bottom+2)))
	across := func(class string, elevationDeg float64) {
		c.path(class, fmt.Sprintf("M%s %sH%s", coord(f.left), coord(f.y(elevationDeg)), coord(right)))
	}
	across("level", 0)
	if v.horizon != nil {
		across("sealine", *v.horizon)
	}
	c.WriteString(closing)
	c.box(f.left, f.top, f.width, f.height)

	names := newLabelPlacer(f.left+2, f.top+2, right-2, bottom-2)
	type shown struct {
		top *pipeline.OutingTop
		at  plotPoint
	}
	var inside []shown
	for _, top := range topsByWeight(f.OutingFrame) {
		at := plotPoint{f.x(top.AzimuthDeg), f.y(v.elevation(top))}
		if !f.holds(at) {
			continue
		}
		kind := markFoot
		if v.shows(top) {
			kind = markEnd
		}
		if low, high := f.y(top.KLowDeg), f.y(top.KHighDeg); v.spread && top.Role != "" && allFinite(low, high) {
			c.path("whisker", fmt.Sprintf("M%s %sh8m-4 0V%sm-4 0h8", coord(at.x-4), coord(math.Max(high, f.top)), coord(math.Min(low, bottom))))
		}
		c.mark(kind, at.x, at.y)
		names.keepFree(at, 6)
		inside = append(inside, shown{top, at})
	}
	for _, s := range inside {
		words := fitted(s.top.Name, 0.5*f.width, figureTextSize) + " " + kilometres(s.top.DistanceM)
		place := func() bool { return names.place(s.at, words, plainName(s.top.Name), figureTextSize) }
		if !place() && s.top.Role != "" {
			// The tops of the line are named even over the marks of others; another without room is named in the table.
			marks := names.marks
			names.marks = nil
			place()
			names.marks = append(marks, names.marks...)
		}
	}
	names.draw(c)
}

// box draws a frame.
func (c *canvas) box(x, y, w, h float64) {
	c.path("frame", fmt.Sprintf("M%s %sh%sv%sh%sz", coord(x), coord(y), coord(w), coord(h), coord(-w)))
}

func (f sheetFrame) azimuths(c *canvas) {
	for _, tick := range roundTicks(f.CentreAzimuthDeg-f.WidthDeg/2, f.CentreAzimuthDeg+f.WidthDeg/2, 5) {
		x, bottom := f.x(tick), f.top+f.height
		c.path("grid", fmt.Sprintf("M%s %sv5", coord(x), coord(bottom)))
		c.text(x, bottom+17, "axis", "middle", tickText(math.Mod(tick+360, 360))+"°", "")
	}
}

// elevations writes the scale of both frames at the left of the first, in minutes where the frame is no higher than 4°.
func (f sheetFrame) elevations(c *canvas) {
	perDeg, unit := 60.0, "′"
	if f.HeightDeg > 4 {
		perDeg, unit = 1, "°"
	}
	for _, tick := range roundTicks(perDeg*(f.CentreElevationDeg-f.HeightDeg/2), perDeg*(f.CentreElevationDeg+f.HeightDeg/2), 6) {
		y := f.y(tick / perDeg)
		c.path("grid", fmt.Sprintf("M%s %sh5", coord(f.left-5), coord(y)))
		c.text(f.left-8, y+4, "axis", "end", tickText(tick)+unit, "")
	}
}

// frameWords say in words what the frames show.
func frameWords(f *pipeline.OutingFrame, views []sheetView) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Two frames in one scale, each %s° wide and %s° high, centred on azimuth %s°.", decimals(f.WidthDeg, 2), decimals(f.HeightDeg, 2), decimals(f.CentreAzimuthDeg, 2))
	tops := topsByWeight(f)
	for _, v := range views {
		b.WriteString(" " + v.name + ":")
		for i, top := range tops[:min(len(tops), outingRows)] {
			separator, where := ",", "out of view"
			if i == 0 {
				separator = ""
			}
			if v.shows(top) {
				where = "in view"
			}
			fmt.Fprintf(&b, "%s %s %s at %s", separator, isolated(top.Name), where, arcmin(60*v.elevation(top)))
		}
		b.WriteString(".")
	}
	return b.String()
}
