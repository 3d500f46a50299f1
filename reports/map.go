package reports

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"math"

	"github.com/paulmach/orb"

	"farstation/pipeline"
)

// mapWidth is the width of the map in user units. The map is Mercator's, so that Leaflet can lay it under what it draws itself.
const mapWidth = 1000.0

// htmlMap is the map of the report: a figure that stands by itself, and whose ground the interactive map takes over.
type htmlMap struct {
	Figure template.HTML
	// West, South, East, North bound the figure, in degrees; East is past 180 where it crosses the date line.
	West, South, East, North float64
	Words                    string
	HasRelief                bool
}

// mapDrawing projects into the user units of the figure.
type mapDrawing struct {
	canvas
	box    pipeline.MapBox
	top    float64 // northing of the north edge
	scale  float64 // user units a degree
	height float64
}

func newMapDrawing(box pipeline.MapBox) *mapDrawing {
	d := &mapDrawing{box: box, top: pipeline.NorthingDeg(box.NorthDeg), scale: mapWidth / (box.EastDeg - box.WestDeg)}
	d.height = (d.top - pipeline.NorthingDeg(box.SouthDeg)) * d.scale
	return d
}

func (d *mapDrawing) at(p orb.Point) plotPoint {
	return plotPoint{(p[0] - d.box.WestDeg) * d.scale, (d.top - pipeline.NorthingDeg(p[1])) * d.scale}
}

// path is that of a line through places; points nearer than least user units to the last one drawn are left out.
func (d *mapDrawing) pathOf(line orb.LineString, least float64) string {
	var points []plotPoint
	for i, p := range line {
		at := d.at(p)
		if n := len(points); n == 0 || i == len(line)-1 || math.Hypot(at.x-points[n-1].x, at.y-points[n-1].y) >= least {
			points = append(points, at)
		}
	}
	return pathThrough(points)
}

// newHTMLMap draws the sightlines that the report draws, over coast, borders and the run's own relief; nil where there is none to draw.
func newHTMLMap(result *pipeline.Result, opts HTMLOptions) (*htmlMap, error) {
	box, ok := result.DrawnBox(max(opts.Top, len(result.Profiles)))
	if !ok {
		return nil, nil
	}
	d := newMapDrawing(box)
	if err := d.ground(result.Relief); err != nil {
		return nil, err
	}
	drawn := d.lines(result, opts)
	m := &htmlMap{West: box.WestDeg, South: box.SouthDeg, East: box.EastDeg, North: box.NorthDeg, HasRelief: result.Relief != nil,
		Words: plural(drawn, "sightline", "sightlines") + ", best first, of those listed below"}
	m.Figure = template.HTML(fmt.Sprintf(`<svg class="map-figure" role="img" viewBox="0 0 %s %s" aria-labelledby="map-title"><title id="map-title">Map of %s</title>%s</svg>`,
		coord(mapWidth), coord(d.height), xmlEscaped(m.Words), d.String())) // the canvas escapes every text
	return m, nil
}

// ground draws sea, land, relief and borders, in a group that the interactive map copies.
func (d *mapDrawing) ground(relief *pipeline.ReliefGrid) error {
	world, err := readAtlas()
	if err != nil {
		return err
	}
	parts := world.inBox(d.box)
	d.WriteString(`<g class="map-ground">`)
	d.rect("map-sea", 0, 0, mapWidth, d.height)
	var land bytes.Buffer
	for _, ring := range parts.land {
		land.WriteString(d.pathOf(orb.LineString(ring), 1) + "z")
	}
	d.path("map-land", land.String())
	if relief != nil {
		picture, err := hillshade(relief)
		if err != nil {
			return err
		}
		corner, end := d.at(orb.Point{relief.WestDeg, relief.NorthDeg}), d.at(orb.Point{relief.EastDeg, relief.SouthDeg})
		fmt.Fprintf(d, `<image class="map-relief" preserveAspectRatio="none" x="%s" y="%s" width="%s" height="%s" href="data:image/png;base64,%s"/>`,
			coord(corner.x), coord(corner.y), coord(end.x-corner.x), coord(end.y-corner.y), base64.StdEncoding.EncodeToString(picture))
	}
	var borders bytes.Buffer
	for _, border := range parts.borders {
		borders.WriteString(d.pathOf(border, 1))
	}
	d.path("map-border", borders.String())
	d.WriteString(`</g>`)
	return nil
}

// lines draws the profiled sightlines, worst first so that the best lies uppermost, their tops, and the names that find room; it returns
// how many lines there are.
func (d *mapDrawing) lines(result *pipeline.Result, opts HTMLOptions) int {
	n := len(result.Profiles)
	if opts.Top > 0 {
		n = min(n, opts.Top)
	}
	var tops []mapTop
	seen := map[string]bool{}
	for i := n - 1; i >= 0; i-- {
		l := &result.Shown.Sightlines[result.Profiles[i].Line]
		from, to := orb.Point{l.ObserverLonDeg, l.ObserverLatDeg}, orb.Point{l.TargetLonDeg, l.TargetLatDeg}
		from[0] = d.inside(from[0])
		to[0] = nearestTurn(to[0], from[0])
		d.path("map-line map-"+string(l.Verdict), d.pathOf(unrolledLine(from, to, pieceM), 0))
	}
	for i := range n {
		l := &result.Shown.Sightlines[result.Profiles[i].Line]
		for _, end := range []mapTop{
			{l.ObserverID, l.ObserverName, d.at(orb.Point{d.inside(l.ObserverLonDeg), l.ObserverLatDeg}), true},
			{l.TargetID, l.TargetName, d.at(orb.Point{d.inside(l.TargetLonDeg), l.TargetLatDeg}), false},
		} {
			if !seen[end.id] {
				seen[end.id] = true
				tops = append(tops, end)
			}
		}
	}
	d.tops(tops)
	return n
}

// inside brings a longitude to where the box has it.
func (d *mapDrawing) inside(lonDeg float64) float64 {
	return nearestTurn(lonDeg, (d.box.WestDeg+d.box.EastDeg)/2)
}

// mapTop is an end of a line on the map: observers are dots, targets rings.
type mapTop struct {
	id, name string
	plotPoint
	observer bool
}

// tops draws the tops and, in their order, the names that overlap no earlier one.
func (d *mapDrawing) tops(tops []mapTop) {
	type field struct{ x, y, w, h float64 }
	var taken []field
	overlaps := func(f field) bool {
		for _, t := range taken {
			if f.x < t.x+t.w && t.x < f.x+f.w && f.y < t.y+t.h && t.y < f.y+f.h {
				return true
			}
		}
		return false
	}
	const radius, size, longest = 4.0, 13.0, 150.0
	for _, t := range tops {
		class := "map-target"
		if t.observer {
			class = "map-observer"
		}
		fmt.Fprintf(d, `<circle class="%s" cx="%s" cy="%s" r="%s"/>`, class, coord(t.x), coord(t.y), coord(radius))
		taken = append(taken, field{t.x - radius, t.y - radius, 2 * radius, 2 * radius})
	}
	for _, t := range tops {
		name := fitted(plainName(t.name), longest, size)
		w := textWidth(name, size)
		for _, place := range []struct {
			dx, dy float64
			anchor string
		}{{radius + 3, size / 3, "start"}, {-radius - 3, size / 3, "end"}, {0, -radius - 4, "middle"}, {0, radius + size, "middle"}} {
			f := field{t.x + place.dx, t.y + place.dy - size, w, size + 3}
			switch place.anchor {
			case "end":
				f.x -= w
			case "middle":
				f.x -= w / 2
			}
			if f.x >= 0 && f.x+f.w <= mapWidth && f.y >= 0 && f.y+f.h <= d.height && !overlaps(f) {
				taken = append(taken, f)
				d.text(t.x+place.dx, t.y+place.dy, "map-name", place.anchor, isolated(name), isolated(t.name))
				break
			}
		}
	}
}
