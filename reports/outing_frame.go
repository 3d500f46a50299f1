package reports

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"farstation/pipeline"
)

// outingFrames draws what the frame should show under each model: the same frame, the same scale, the shape of the sensor.
func outingFrames(f *pipeline.OutingFrame) ([]byte, error) {
	if !(f.WidthDeg > 0) || !(f.HeightDeg > 0) || len(f.SkylineAzimuthDeg) == 0 {
		return nil, nil
	}
	c := &canvas{id: "outing-frame"}
	y := 20.0
	for _, m := range []struct {
		title     string
		skyline   []float64
		elevation func(t *pipeline.OutingTop) float64
		shows     func(t *pipeline.OutingTop) bool
	}{
		{"If the Earth is curved", f.SkylineCurvedDeg, func(t *pipeline.OutingTop) float64 { return t.CurvedDeg }, func(t *pipeline.OutingTop) bool { return t.InView }},
		{"If it is a plane", f.SkylinePlaneDeg, func(t *pipeline.OutingTop) float64 { return t.PlaneDeg }, func(t *pipeline.OutingTop) bool { return t.OnPlane }},
	} {
		if len(m.skyline) != len(f.SkylineAzimuthDeg) {
			return nil, fmt.Errorf("frame: %d elevations of the skyline for %d azimuths", len(m.skyline), len(f.SkylineAzimuthDeg))
		}
		y = drawOutingFrame(c, f, y, m.title, m.skyline, m.elevation, m.shows)
	}
	end := c.legend([]legendItem{{mark: markEnd, words: "in view"}, {mark: markFoot, words: "out of view: the place of its top"}}, 20, figureWidth-20, y)
	return c.svg(FigureOptions{Inline: true}, end, "Expected frames", "What the frame should show under the curved model and on the plane, in the same scale.")
}

func drawOutingFrame(c *canvas, f *pipeline.OutingFrame, top float64, title string, skyline []float64, elevation func(*pipeline.OutingTop) float64, shows func(*pipeline.OutingTop) bool) float64 {
	// As wide as the figure, or as high as fits on half a page.
	scale := math.Min((figureWidth-40)/f.WidthDeg, 300/f.HeightDeg)
	width, height := f.WidthDeg*scale, f.HeightDeg*scale
	left := (figureWidth - width) / 2
	top += 12
	c.text(left, top-8, "panel", "start", title, "")
	x := func(azimuthDeg float64) float64 {
		return left + width/2 + math.Remainder(azimuthDeg-f.CentreAzimuthDeg, 360)*math.Cos(f.CentreElevationDeg*math.Pi/180)*scale
	}
	y := func(elevationDeg float64) float64 { return top + height/2 - (elevationDeg-f.CentreElevationDeg)*scale }
	closing := c.clip(left, top, width, height)
	d := ""
	for i, azimuth := range f.SkylineAzimuthDeg {
		if d == "" {
			d = "M" + coord(x(azimuth)) + " " + coord(top+height+2)
		}
		d += "L" + coord(x(azimuth)) + " " + coord(math.Min(math.Max(y(skyline[i]), top-2), top+height+2))
	}
	d += "L" + coord(x(f.SkylineAzimuthDeg[len(f.SkylineAzimuthDeg)-1])) + " " + coord(top+height+2) + "z"
	c.path("land", d)
	c.WriteString(closing)
	c.box(left, top, width, height)
	type label struct {
		t    *pipeline.OutingTop
		x, y float64
	}
	var labels []label
	for i := range f.Tops {
		t := &f.Tops[i]
		px, py := x(t.AzimuthDeg), y(elevation(t))
		if px < left || px > left+width || py < top || py > top+height {
			continue
		}
		kind := markFoot
		if shows(t) {
			kind = markEnd
		}
		c.mark(kind, px, py)
		if t.Role != "" || len(f.Tops) <= mostOutingLabels {
			labels = append(labels, label{t, px, py})
		}
	}
	slices.SortStableFunc(labels, func(a, b label) int { return cmp.Compare(a.y, b.y) })
	var ys []float64
	for _, l := range labels {
		ys = append(ys, l.y-8)
	}
	ys = spreadApart(ys, figureLane-2, top+12, top+height-4)
	for i, l := range labels {
		anchor, tx := "start", l.x+8
		if l.x > left+width/2 {
			anchor, tx = "end", l.x-8
		}
		c.text(tx, ys[i], "label", anchor, fitted(l.t.Name+" "+kilometres(l.t.DistanceM), 200, figureTextSize), plainName(l.t.Name))
	}
	for _, tick := range roundTicks(-f.WidthDeg/2, f.WidthDeg/2, 6) {
		px := x(f.CentreAzimuthDeg + tick)
		c.path("grid", "M"+coord(px)+" "+coord(top+height)+"v5")
		c.text(px, top+height+17, "axis", "middle", decimals(math.Mod(f.CentreAzimuthDeg+tick+360, 360), 1)+"°", "")
	}
	return top + height + 34
}

// box draws a frame.
func (c *canvas) box(x, y, w, h float64) {
	c.path("frame", "M"+coord(x)+" "+coord(y)+"h"+coord(w)+"v"+coord(h)+"h"+coord(-w)+"z")
}

// mostOutingLabels bounds the names in a frame; beyond it only the near and the far top have theirs.
const mostOutingLabels = 14

// outingPlan draws the places to stand from above, north up, about the stand.
func outingPlan(o *pipeline.Outing) ([]byte, error) {
	s := &o.Stand
	if len(s.Strip) == 0 {
		return nil, nil
	}
	const size, left, top = 320.0, 190.0, 24.0
	c := &canvas{id: "outing-plan"}
	metresEast := func(p *pipeline.OutingPlace) float64 {
		return math.Remainder(p.LongitudeDeg-s.LongitudeDeg, 360) * math.Pi / 180 * 6_371_000 * math.Cos(s.LatitudeDeg*math.Pi/180)
	}
	metresNorth := func(p *pipeline.OutingPlace) float64 {
		return (p.LatitudeDeg - s.LatitudeDeg) * math.Pi / 180 * 6_371_000
	}
	reachM := 50.0
	for i := range s.Strip {
		reachM = math.Max(reachM, math.Max(math.Abs(metresEast(&s.Strip[i])), math.Abs(metresNorth(&s.Strip[i]))))
	}
	scale := size / 2 / (1.1 * reachM)
	x := func(eastM float64) float64 { return left + size/2 + eastM*scale }
	y := func(northM float64) float64 { return top + size/2 - northM*scale }
	c.box(left, top, size, size)
	sine, cosine := math.Sincos(o.Line.AzimuthDeg * math.Pi / 180)
	c.path("ray", "M"+coord(x(0))+" "+coord(y(0))+"L"+coord(x(0.9*reachM*sine))+" "+coord(y(0.9*reachM*cosine)))
	for i := range s.Strip {
		c.mark(markExpected, x(metresEast(&s.Strip[i])), y(metresNorth(&s.Strip[i])))
	}
	c.mark(markEnd, x(0), y(0))
	c.text(left+size/2, top-8, "axis", "middle", "north", "")
	bar := roundTicks(0, reachM, 3)
	if length := bar[len(bar)-1]; length > 0 {
		c.path("chord", "M"+coord(left)+" "+coord(top+size+14)+"h"+coord(length*scale))
		c.text(left+length*scale+8, top+size+18, "axis", "start", metres(length), "")
	}
	end := c.legend([]legendItem{{mark: markEnd, words: "the stand"}, {mark: markExpected, words: "serves too"}, {line: "ray", words: "towards the target"}}, left, figureWidth-20, top+size+44)
	return c.svg(FigureOptions{Inline: true}, end, "Where to stand", fmt.Sprintf("%d places about the stand from which the tops line up, north up.", len(s.Strip)))
}

// outingHours draws each day's light as a strip of 24 hours in local time.
func outingHours(o *pipeline.Outing) ([]byte, error) {
	days := o.Sky.Days
	if len(days) == 0 {
		return nil, nil
	}
	days = days[:min(len(days), 31)]
	const left, right, row = 110.0, figureWidth - 20, 18.0
	c := &canvas{id: "outing-hours"}
	x := func(hour float64) float64 { return left + (right-left)*hour/24 }
	for hour := 0; hour <= 24; hour += 3 {
		c.path("grid", "M"+coord(x(float64(hour)))+" 24V"+coord(28+row*float64(len(days))))
		c.text(x(float64(hour)), 18, "axis", "middle", fmt.Sprintf("%02d", hour), "")
	}
	zone := outingZone(o)
	for i, day := range days {
		y := 28 + row*float64(i)
		c.text(left-8, y+12, "axis", "end", day.Date, "")
		c.rect("body", left, y+2, right-left, row-5)
		for _, w := range o.Sky.Windows {
			from, to := w.From.In(zone), w.To.In(zone)
			if from.Format("2006-01-02") != day.Date {
				continue
			}
			a := float64(from.Hour()) + float64(from.Minute())/60
			b := a + to.Sub(from).Hours()
			switch b = math.Min(b, 24); w.Light {
			case "silhouette":
				c.rect("face", x(a), y+2, math.Max(x(b)-x(a), 1.5), row-5)
			case "side":
				c.hatched(x(a), y+2, math.Max(x(b)-x(a), 1.5), row-5)
			default:
				c.crossed(x(a), y+2, math.Max(x(b)-x(a), 1.5), row-5)
			}
		}
		for _, p := range o.Sky.Passes {
			if at := p.At.In(zone); at.Format("2006-01-02") == day.Date {
				c.mark(markFront, x(float64(at.Hour())+float64(at.Minute())/60), y+row/2)
			}
		}
	}
	y := 28 + row*float64(len(days)) + 18
	end := c.legend([]legendItem{{fill: "face", words: "sun behind: silhouette"}, {hatch: true, words: "side light"}, {cross: true, words: "light from behind the camera"},
		{mark: markFront, words: "sun or moon behind the top"}}, left, right, y)
	return c.svg(FigureOptions{Inline: true}, end, "Light by the hour", "Hours of useful light on each day, in local time.")
}
