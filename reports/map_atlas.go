package reports

import (
	"bytes"
	"compress/gzip"
	"embed"
	"encoding/json"
	"fmt"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"

	"farstation/pipeline"
)

// others holds the files of others: Leaflet, and Natural Earth's countries as the npm package world-atlas has them. Its README names versions,
// licences and hashes.
//
//go:embed assets
var others embed.FS

// topology is what is used of a TopoJSON file: arcs as steps of whole numbers, and geometries as lists of arcs.
type topology struct {
	Transform struct{ Scale, Translate [2]float64 }
	Arcs      [][][2]int
	Objects   map[string]struct {
		Geometries []struct {
			Type string
			Arcs json.RawMessage
		}
	}
}

// atlas is the coast and the borders of the world, in degrees.
type atlas struct {
	land    []orb.Ring // shores, lakes that are no land included
	borders []orb.LineString
}

func readAtlas() (*atlas, error) {
	packed, err := others.ReadFile("assets/countries-10m.json.gz")
	if err != nil {
		return nil, err
	}
	text, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("atlas: %w", err)
	}
	var t topology
	if err := json.NewDecoder(text).Decode(&t); err != nil {
		return nil, fmt.Errorf("atlas: %w", err)
	}
	return newAtlas(&t)
}

// newAtlas takes the coast from the object land, and as borders the arcs that two countries share.
func newAtlas(t *topology) (*atlas, error) {
	arcs := make([]orb.LineString, len(t.Arcs))
	for i, steps := range t.Arcs {
		x, y := 0, 0
		for _, step := range steps {
			x, y = x+step[0], y+step[1]
			arcs[i] = append(arcs[i], orb.Point{
				float64(x)*t.Transform.Scale[0] + t.Transform.Translate[0], float64(y)*t.Transform.Scale[1] + t.Transform.Translate[1]})
		}
	}
	a := &atlas{}
	err := t.rings("land", func(of []int) {
		var ring orb.Ring
		for _, i := range of {
			arc, backwards := i, i < 0
			if backwards {
				arc = ^i
			}
			points := arcs[arc].Clone()
			if backwards {
				points.Reverse()
			}
			if len(ring) > 0 {
				points = points[1:] // arcs of a ring share their ends
			}
			ring = append(ring, points...)
		}
		a.land = append(a.land, ring)
	})
	if err != nil {
		return nil, err
	}
	uses := make([]int, len(arcs))
	err = t.rings("countries", func(of []int) {
		for _, i := range of {
			uses[max(i, ^i)]++
		}
	})
	for i, n := range uses {
		if n > 1 {
			a.borders = append(a.borders, arcs[i])
		}
	}
	return a, err
}

// rings calls use with the arcs of every ring of an object; ^i is arc i backwards.
func (t *topology) rings(object string, use func([]int)) error {
	for _, g := range t.Objects[object].Geometries {
		var polygons [][][]int
		var err error
		switch g.Type {
		case "Polygon":
			polygons = make([][][]int, 1)
			err = json.Unmarshal(g.Arcs, &polygons[0])
		case "MultiPolygon":
			err = json.Unmarshal(g.Arcs, &polygons)
		}
		if err != nil {
			return fmt.Errorf("atlas: %s: %w", object, err)
		}
		for _, polygon := range polygons {
			for _, ring := range polygon {
				for _, i := range ring {
					if max(i, ^i) >= len(t.Arcs) {
						return fmt.Errorf("atlas: %s names arc %d of %d", object, i, len(t.Arcs))
					}
				}
				use(ring)
			}
		}
	}
	return nil
}

// inBox returns the land and the borders within a box, with longitudes that run on past 180° as the box's do.
func (a *atlas) inBox(box pipeline.MapBox) *atlas {
	bound := orb.Bound{Min: orb.Point{box.WestDeg, box.SouthDeg}, Max: orb.Point{box.EastDeg, box.NorthDeg}}
	out := &atlas{}
	for _, turn := range []float64{-360, 0, 360} {
		if box.EastDeg < -180+turn || box.WestDeg > 180+turn {
			continue
		}
		for _, ring := range a.land {
			if moved := turned(orb.LineString(ring), turn); moved.Bound().Intersects(bound) {
				if part := clip.Ring(bound, orb.Ring(moved)); len(part) > 3 {
					out.land = append(out.land, part)
				}
			}
		}
		for _, border := range a.borders {
			if moved := turned(border, turn); moved.Bound().Intersects(bound) {
				out.borders = append(out.borders, clip.LineString(bound, moved)...)
			}
		}
	}
	return out
}

func turned(line orb.LineString, byDeg float64) orb.LineString {
	out := line.Clone()
	for i := range out {
		out[i][0] += byDeg
	}
	return out
}
