package reports

import (
	"fmt"
	"html/template"
	"math"
	"strconv"

	"farstation/pipeline"
)

// residualPanel is what one model leaves over in a frame.
type residualPanel struct {
	heading, mark string
	of            func(weighPoint) *plotPoint
}

func residualPanels() [2]residualPanel {
	return [2]residualPanel{
		{"Curved Earth", markCurved, func(p weighPoint) *plotPoint { return p.curved }},
		{"Plane", markPlane, func(p weighPoint) *plotPoint { return p.plane }},
	}
}

// longest is the longest residual in pixels; negative where the model has none.
func (r residualPanel) longest(points []weighPoint) float64 {
	most := -1.0
	for _, p := range points {
		if model := r.of(p); model != nil {
			most = math.Max(most, math.Hypot(p.at.x-model.x, p.at.y-model.y))
		}
	}
	return most
}

const residualGap = 12.0

// residualScale draws panels of one frame: units a pixel of the photograph, and how many times as long arrows are.
type residualScale struct {
	photo                        pipeline.Photograph
	unitsPerPx, height, enlarged float64
	// over and under are the room for arrows that leave the frame.
	over, under float64
}

// residualFigure draws what each model leaves over in one frame, enlarged: an arrow for each point, from where the model has it to where it was
// measured. Both panels have the same scale; where one model's arrows are too short to be seen in it, they are drawn again in a scale of their own.
func residualFigure(w *pipeline.Weighing, index int) ([]byte, error) {
	const seen = 10 // arrows this many times shorter than the longest cannot be judged
	photo, frame := w.Images[index], index+1
	points, panels := weighPoints(w, frame), residualPanels()
	curved, plane := panels[0].longest(points), panels[1].longest(points)
	if photo.WidthPx < 1 || photo.HeightPx < 1 || math.Max(curved, plane) < 0 {
		return nil, nil
	}
	c := &canvas{id: "residuals-" + strconv.Itoa(frame)}
	// Rings are to be seen too, but not to fill the frame.
	spread := 0.0
	for _, p := range points {
		spread = math.Max(spread, 3*p.sdPx)
	}
	s := newResidualScale(photo, math.Max(spread, math.Max(curved, plane)))
	y := s.draw(c, 18, points, panels[:])
	if curved >= 0 && plane >= 0 && math.Max(curved, plane) > seen*math.Max(math.Min(curved, plane), spread/3) {
		short := panels[0]
		if plane < curved {
			short = panels[1]
		}
		short.heading += ", again in a scale of its own"
		y = newResidualScale(photo, math.Max(spread, math.Min(curved, plane))).draw(c, y+20, points, []residualPanel{short})
	}
	notes := []string{"Each arrow runs from where the model has the point, with heights as they were given, to where it was measured.", "Rings, if large enough: one standard deviation of the measurement; heights have spreads of their own."}
	if words := unmarkedWords(points); words != "" {
		notes = append(notes, words)
	}
	for _, words := range notes {
		c.text(0, y, "note", "start", words, "")
		y += 17
	}
	return c.svg(FigureOptions{Inline: true}, y-5, fmt.Sprintf("What each model leaves over in photograph %d, enlarged", frame),
		fmt.Sprintf("Panels with an arrow for each of %s. The table of points holds the numbers.", plural(len(points), "measured point", "measured points")))
}

// newResidualScale makes a length of so many pixels about a third of a panel, by a round number.
func newResidualScale(photo pipeline.Photograph, longestPx float64) residualScale {
	panel := (figureWidth - residualGap) / 2
	s := residualScale{photo: photo, unitsPerPx: math.Min(panel/float64(photo.WidthPx), 420/float64(photo.HeightPx))}
	s.height = math.Max(90, s.unitsPerPx*float64(photo.HeightPx))
	s.enlarged = math.Max(1, roundDown(math.Min(1000, 0.3*math.Min(panel, 2*s.height)/(s.unitsPerPx*math.Max(longestPx, 1e-6)))))
	return s
}

// margin is the room over and under a photograph in its panel.
func (s *residualScale) margin() float64 {
	return (s.height - s.unitsPerPx*float64(s.photo.HeightPx)) / 2
}

// makeRoom measures by how much arrows leave the frame above and below.
func (s *residualScale) makeRoom(points []weighPoint, panels []residualPanel) {
	for _, panel := range panels {
		for _, p := range points {
			if model := panel.of(p); model != nil {
				end := s.margin() + s.unitsPerPx*(model.y+s.enlarged*(p.at.y-model.y))
				s.over, s.under = math.Max(s.over, 4-end), math.Max(s.under, end+4-s.height)
			}
		}
	}
}

// draw writes panels side by side, their headings' baseline at top, and under them the scale; it returns the y after it.
func (s residualScale) draw(c *canvas, top float64, points []weighPoint, panels []residualPanel) float64 {
	width := (figureWidth - residualGap) / 2
	s.makeRoom(points, panels)
	upper := top + 12 + s.over
	for i, panel := range panels {
		left := float64(i) * (width + residualGap)
		c.text(left, top, "panel", "start", panel.heading, "")
		c.path("frame", "M"+coord(left)+" "+coord(upper)+"h"+coord(width)+"v"+coord(s.height)+"h"+coord(-width)+"z")
		if panel.longest(points) < 0 {
			c.text(left+width/2, upper+s.height/2, "note", "middle", "this model has no fit, or no point in the frame: nothing is drawn", "")
			continue
		}
		clip := c.clip(left, upper-s.over, width, s.over+s.height+s.under)
		labels := newLabelPlacer(left+1, upper+1, left+width-1, upper+s.height-1)
		corner := plotPoint{left + (width-s.unitsPerPx*float64(s.photo.WidthPx))/2, upper + s.margin()}
		place := func(p plotPoint) plotPoint {
			return plotPoint{corner.x + s.unitsPerPx*p.x, corner.y + s.unitsPerPx*p.y}
		}
		for _, p := range points {
			model := panel.of(p)
			if model == nil {
				continue
			}
			from, units := place(*model), s.enlarged*s.unitsPerPx
			to := plotPoint{from.x + units*(p.at.x-model.x), from.y + units*(p.at.y-model.y)}
			if r := units * p.sdPx; r > 1.5 {
				fmt.Fprintf(c, `<circle class="spread-ring" cx="%s" cy="%s" r="%s"/>`, coord(from.x), coord(from.y), coord(r))
			}
			c.path("arrow "+panel.mark, arrow(from, to))
			for f := 0.0; f <= 1; f += 0.125 {
				labels.keepFree(plotPoint{from.x + f*(to.x-from.x), from.y + f*(to.y-from.y)}, 3)
			}
		}
		for _, p := range points {
			if model := panel.of(p); model != nil {
				labels.place(place(*model), strconv.Itoa(p.number), p.words, smallTextSize)
			}
		}
		c.WriteString(clip)
		labels.draw(c)
	}
	y := upper + s.height + s.under + 22
	bar := roundDown(120 / (s.enlarged * s.unitsPerPx))
	length := bar * s.enlarged * s.unitsPerPx
	c.path("whisker", fmt.Sprintf("M1 %sv-8m0 4h%sm0-4v8", coord(y), coord(length)))
	c.text(length+12, y, "", "start", fmt.Sprintf("%s px; arrows are drawn %s times as long as they are", tickText(bar), tickText(s.enlarged)), "")
	return y + 21
}

// roundDown is the greatest of 1, 2 or 5 times a power of ten that is not above v.
func roundDown(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, f := range []float64{5, 2} {
		if f*power <= v*(1+1e-9) {
			return f * power
		}
	}
	return power
}

// arrow is the path of an arrow; one too short for a head has none.
func arrow(from, to plotPoint) string {
	d := "M" + coord(from.x) + " " + coord(from.y) + "L" + coord(to.x) + " " + coord(to.y)
	length := math.Hypot(to.x-from.x, to.y-from.y)
	if length < 3 {
		return d
	}
	head := math.Min(7, 0.6*length)
	ux, uy := (to.x-from.x)/length, (to.y-from.y)/length
	for _, side := range []float64{-1, 1} {
		d += "M" + coord(to.x-head*(ux+side*0.45*uy)) + " " + coord(to.y-head*(uy-side*0.45*ux)) + "L" + coord(to.x) + " " + coord(to.y)
	}
	return d
}

// weighCropShown is a crop in the page.
type weighCropShown struct {
	SVG     template.HTML
	Caption string
}

// cropsShown draws the crops at 1:1, each with a cross at the measured place, open in the middle, and a ring of its standard deviation.
func cropsShown(w *pipeline.Weighing, crops []weighCrop) []weighCropShown {
	var out []weighCropShown
	points := measuredPoints(w)
	for _, crop := range crops {
		r := points[crop.point]
		words := fmt.Sprintf("%d %s", crop.point+1, pointWords(r.Name, r.Part))
		if len(w.Images) > 1 {
			words += fmt.Sprintf(" (photograph %d)", r.Frame)
		}
		c := &canvas{}
		x, y := r.AtXPx-float64(crop.box.Min.X), r.AtYPx-float64(crop.box.Min.Y)
		fmt.Fprintf(c, `<svg class="crop" role="img" aria-label="%s" viewBox="0 0 %d %d" width="%d" height="%d"><image href="%s" width="%d" height="%d"/>`, xmlEscaped(words+", 1:1"),
			crop.box.Dx(), crop.box.Dy(), crop.box.Dx(), crop.box.Dy(), crop.uri, crop.box.Dx(), crop.box.Dy())
		cross := fmt.Sprintf("M%s %sh12m%s 0h12M%s %sv12m0 %sv12", coord(x-12-cropOpen/2), coord(y), coord(cropOpen), coord(x), coord(y-12-cropOpen/2), coord(cropOpen))
		ring := fmt.Sprintf(`cx="%s" cy="%s" r="%s"`, coord(x), coord(y), coord(math.Max(0.5, r.SDPx)))
		fmt.Fprintf(c, `<path class="under" d="%s"/><path class="over" d="%s"/><circle class="under" %s/><circle class="over" %s/></svg>`, cross, cross, ring, ring)
		out = append(out, weighCropShown{template.HTML(c.String()), words + ", ± " + decimals(r.SDPx, 1) + " px"})
	}
	return out
}

// cropOpen is the opening in the middle of a crop's cross, in pixels, so that what was measured can be seen.
const cropOpen = 12.0
